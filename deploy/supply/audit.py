"""Asks whether a vulnerability is known of anything that a lock pins, for any Python.

Exit codes: those of pip-audit: 0 none known, else some are, or not all could be asked.
"""

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from itertools import zip_longest
from pathlib import Path

from pins import Pin, pins

OPTIONS = [
    # Without it what could not be looked up is taken for sound.
    "--strict",
    # The lock is complete: nothing is resolved, so nothing is downloaded.
    "--disable-pip",
    "--require-hashes",
    "--progress-spinner=off",
]


def main() -> int:
    """Audit the named lock."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("lock", type=Path)
    lock = parser.parse_args().lock
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-P", "-m", "pip_audit", *OPTIONS]
        for number, entries in enumerate(_lists(list(pins(lock)))):
            named = Path(folder) / f"{number}.txt"
            named.write_text("".join(map(_line, entries)), encoding="utf-8")
            command += ["--requirement", str(named)]
        return subprocess.run(command, check=False).returncode


def _lists(entries: Sequence[Pin]) -> list[list[Pin]]:
    """The entries as lists that name no package twice, as pip-audit wants them."""
    grouped: dict[str, list[Pin]] = {}
    for pin in entries:
        grouped.setdefault(pin.name, []).append(pin)
    return [[pin for pin in row if pin] for row in zip_longest(*grouped.values())]


def _line(pin: Pin) -> str:
    # Without the marker: what another Python would get is asked about as well.
    return f"{pin.name}=={pin.version} {' '.join(f'--hash={item}' for item in pin.hashes)}\n"


if __name__ == "__main__":
    sys.exit(main())
