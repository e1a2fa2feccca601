"""Programs that some tests need and Python's packages do not bring."""

import os
import shutil
import sys
from pathlib import Path
from typing import NoReturn

import pytest

BROUGHT = {"nginx": "Debian", "chromium": "Debian", "hadolint": "the lock"}
"""What `deploy/test` installs, and from where."""


def found(tool: str) -> str | None:
    """Where it is: on the path, beside this Python, or where Debian puts what serves."""
    places = [os.environ.get("PATH", ""), str(Path(sys.executable).parent), "/usr/sbin"]
    return shutil.which(tool, path=os.pathsep.join(places))


def missing(tool: str) -> NoReturn:
    """Skip the test; where CI=true, fail it for a tool that `deploy/test` installs."""
    said = f"{tool} is not installed"
    if tool in BROUGHT and os.environ.get("CI") == "true":
        pytest.fail(f"{said}, which deploy/test gets from {BROUGHT[tool]}", pytrace=False)
    pytest.skip(said)


def needed(tool: str) -> str:
    """Where it is; see `missing` for where it is not."""
    return found(tool) or missing(tool)
