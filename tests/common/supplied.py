"""The tools of deploy/supply, run as a release runs them."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from strangers import ROOT, clean_environment

SUPPLY = ROOT / "deploy" / "supply"
LOCK = ROOT / "deploy" / "requirements.lock"
EPOCH = 1_700_000_000
SECONDS = 120


def run(*command: str | Path, code: int = 0, cwd: Path = ROOT) -> str:
    """What a command prints, errors too; it must end with that code."""
    done = subprocess.run(
        [str(word) for word in command],
        cwd=cwd,
        env=clean_environment() | {"SOURCE_DATE_EPOCH": str(EPOCH), "OPENBLAS_NUM_THREADS": "1"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=SECONDS,
    )
    assert done.returncode == code, done.stdout
    return done.stdout


def tool(name: str, *arguments: str | Path, code: int = 0) -> str:
    """What one of deploy/supply prints."""
    return run(sys.executable, SUPPLY / f"{name}.py", *arguments, code=code)


@dataclass(frozen=True, kw_only=True)
class Built:
    """What two builds agreed on."""

    wheel: Path
    source: Path
