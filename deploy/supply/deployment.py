"""Packs what an operator needs beside the wheel: how the service is run, and in front of it nginx.

Unpacked where the source distribution has been, it lies in the same folder, so that the image
can be built there. What comes out depends on the files and on the time of their commit alone.
"""

import argparse
import sys
import tarfile
from collections.abc import Iterator
from pathlib import Path

from build_twice import pack

HELD = (
    ".dockerignore",
    "deploy/Dockerfile",
    "deploy/LICENSE",
    "deploy/compose.yaml",
    "deploy/gunicorn.conf.py",
    "deploy/healthy.py",
    "deploy/kubernetes",
    "deploy/nginx",
    "deploy/requirements.lock",
    "deploy/systemd",
)
"""Files, and folders with all that lies in them."""


def main() -> int:
    """Write the archive."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("source", type=Path, help="the checkout, or a copy of it")
    parser.add_argument("archive", type=Path, help="file to write, NAME-VERSION-deploy.tar.gz")
    parser.add_argument("--epoch", type=int, required=True, help="time of the commit, Unix s")
    arguments = parser.parse_args()
    folder = arguments.archive.name.removesuffix(".tar.gz").removesuffix("-deploy")
    contents = (
        (tarfile.TarInfo(f"{folder}/{path.relative_to(arguments.source)}"), path.read_bytes())
        for path in _files(arguments.source)
    )
    pack(arguments.archive, contents, arguments.epoch)
    return 0


def _files(source: Path) -> Iterator[Path]:
    for name in HELD:
        path = source / name
        if not path.is_dir():
            yield path
            continue
        yield from (file for file in path.rglob("*") if file.is_file())


if __name__ == "__main__":
    sys.exit(main())
