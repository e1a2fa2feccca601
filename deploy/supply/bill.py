"""Writes the bill of materials (CycloneDX, JSON) of an environment with the runtime's packages.

The same environment gives the same bytes: the time in it is SOURCE_DATE_EPOCH, and it has no
serial number. The tool holds it against the schema before writing.
Exit codes: those of cyclonedx-py.
"""

import argparse
import re
import subprocess
import sys
import tempfile
from pathlib import Path

TOOL = ["-P", "-m", "cyclonedx_py", "environment", "--output-reproducible", "--sv", "1.6"]


def main() -> int:
    """Write the bill of the named environment."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--project", type=Path, required=True, help="pyproject.toml")
    parser.add_argument("--version", required=True, help="of the project")
    parser.add_argument("--output", type=Path, required=True)
    parser.add_argument("python", help="interpreter of the environment")
    arguments = parser.parse_args()
    text = arguments.project.read_text(encoding="utf-8")
    # The tool takes the version from there, and knows nothing of where ours is kept.
    told = re.sub(
        r'^dynamic = \["version"\]$', f'version = "{arguments.version}"', text, flags=re.M
    )
    with tempfile.TemporaryDirectory() as folder:
        project = Path(folder) / "pyproject.toml"
        project.write_text(told, encoding="utf-8")
        options = ["--pyproject", project, "--output-file", arguments.output, "--validate"]
        return subprocess.run([sys.executable, *TOOL, *options, arguments.python]).returncode


if __name__ == "__main__":
    sys.exit(main())
