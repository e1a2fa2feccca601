"""Builds wheel and source distribution twice, in different circumstances, and compares them.

What is built depends on the sources and on the time of their commit alone: not on the folder,
the umask, the time zone, the language or the seed of hashes.
Exit codes: 0 the two are the same, and whole; 1 not (one line on stderr says what).
"""

import argparse
import gzip
import hashlib
import io
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

PACKAGES = ("service/arrowloft", "plugins/arrowloft_models")
"""What the wheel holds, with all that lies in it."""

NEEDED = ("pyproject.toml", "README.md", "deploy/LICENSE", *PACKAGES)
"""What a build reads."""

LEFT_BEHIND = ("__pycache__", "*.pyc", "*.egg-info", ".*")
"""What running and building leave in a tree."""


UMASK = 0o022
"""Under which all is built, whoever's it was before: the backend makes files of its own."""


class NotSound(Exception):
    """What was built differs, or lacks something."""


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """What must not matter."""

    folder: str
    umask: int
    variables: Mapping[str, str]


FIRST = Circumstances(
    folder="a",
    umask=0o022,
    variables={"TZ": "UTC", "LC_ALL": "C", "PYTHONHASHSEED": "1"},
)
SECOND = Circumstances(
    folder="a much longer name/of a folder",
    umask=0o077,
    variables={"TZ": "Pacific/Chatham", "LC_ALL": "tr_TR.UTF-8", "PYTHONHASHSEED": "2"},
)


def main() -> int:
    """Build from the named tree, and put the two files into the named folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("source", type=Path, help="the checkout, or a copy of it")
    parser.add_argument("target", type=Path, help="folder for wheel and source distribution")
    parser.add_argument("--epoch", type=int, required=True, help="time of the commit, Unix s")
    arguments = parser.parse_args()
    try:
        with tempfile.TemporaryDirectory() as scratch:
            # Taken once: a tree that is worked on may change between two builds.
            source = Path(scratch) / "source"
            _copy(arguments.source, source)
            built = [
                build(source, Path(scratch) / when.folder, arguments.epoch, when)
                for when in (FIRST, SECOND)
            ]
            compare(*built)
            whole(built[0], source)
            arguments.target.mkdir(parents=True, exist_ok=True)
            for made in sorted(built[0].iterdir()):
                shutil.copyfile(made, arguments.target / made.name)
                print(f"{digest(made)}  {made.name}")
    except NotSound as error:
        print(f"arrowloft: {error}", file=sys.stderr)
        return 1
    return 0


def build(source: Path, folder: Path, epoch: int, when: Circumstances) -> Path:
    """Build a copy of the tree; the folder with a wheel made from the source distribution."""
    tree, target = folder / "tree", folder / "built"
    _copy(source, tree)
    _set_modes(tree, when.umask)
    # Both formats keep modes.
    _set_modes(tree, UMASK)
    _run_build(["--sdist"], tree, target, epoch, when)
    (archive,) = target.glob("*.tar.gz")
    _repack(archive, epoch)
    with tarfile.open(archive) as opened:
        opened.extractall(folder, filter="data")
    _run_build(["--wheel"], folder / archive.name.removesuffix(".tar.gz"), target, epoch, when)
    return target


def compare(first: Path, second: Path) -> None:
    """Raise NotSound unless both folders hold the same files with the same bytes."""
    sums = [{made.name: digest(made) for made in folder.iterdir()} for folder in (first, second)]
    if differing := sorted(name for name, _ in sums[0].items() ^ sums[1].items()):
        raise NotSound(f"two builds differ in {', '.join(sorted(set(differing)))}")


def whole(built: Path, source: Path) -> None:
    """Raise NotSound unless the wheel holds every file of the packages, and no other."""
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as opened:
        found = {name for name in opened.namelist() if ".dist-info/" not in name}
    wanted = set()
    for package in PACKAGES:
        root = source / package
        left = {path for pattern in LEFT_BEHIND for path in root.rglob(pattern)}
        wanted |= {
            str(path.relative_to(root.parent))
            for path in root.rglob("*")
            if path.is_file() and not left & {path, *path.parents}
        }
    if missing := sorted(wanted - found):
        raise NotSound(f"the wheel lacks {', '.join(missing)}; see package-data in pyproject.toml")
    if foreign := sorted(found - wanted):
        raise NotSound(f"the wheel holds {', '.join(foreign)}, which belongs to no package")


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _copy(source: Path, tree: Path) -> None:
    """Lay down what a build reads."""
    for name in NEEDED:
        target = tree / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if (source / name).is_dir():
            shutil.copytree(source / name, target, ignore=shutil.ignore_patterns(*LEFT_BEHIND))
        else:
            shutil.copyfile(source / name, target)


def _set_modes(tree: Path, umask: int) -> None:
    """Give every file the mode that it has after a checkout under that umask."""
    for path in tree.rglob("*"):
        path.chmod((0o777 if path.is_dir() else 0o666) & ~umask)


def _run_build(what: list[str], tree: Path, target: Path, epoch: int, when: Circumstances) -> None:
    done = subprocess.run(
        [sys.executable, "-P", "-m", "build", *what, "--no-isolation", "--outdir", target, tree],
        env={**os.environ, **when.variables, "SOURCE_DATE_EPOCH": str(epoch)},
        umask=UMASK,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    if done.returncode != 0:
        raise NotSound(f"the build failed: {done.stdout.strip().splitlines()[-1]}")


def _repack(archive: Path, epoch: int) -> None:
    """Write a source distribution anew without owners and times: the backend keeps those."""
    with tarfile.open(archive) as opened:
        contents = [
            (member, opened.extractfile(member).read() if member.isfile() else b"")  # type: ignore[union-attr]
            for member in opened.getmembers()
        ]
    pack(archive, contents, epoch)


def pack(archive: Path, contents: Iterable[tuple[tarfile.TarInfo, bytes]], epoch: int) -> None:
    """Write an archive that depends on the members' names, kinds and bytes alone.

    contents: members with their bytes, in any order.  epoch: the time of each, Unix s.
    """
    with (
        archive.open("wb") as written,
        gzip.GzipFile(filename="", fileobj=written, mode="wb", mtime=epoch) as packed,
        tarfile.open(fileobj=packed, mode="w", format=tarfile.PAX_FORMAT) as opened,
    ):
        for member, content in sorted(contents, key=lambda item: item[0].name):
            opened.addfile(_plain(member, epoch, len(content)), io.BytesIO(content))


def _plain(member: tarfile.TarInfo, epoch: int, size: int) -> tarfile.TarInfo:
    plain = tarfile.TarInfo(member.name)
    plain.type, plain.size, plain.mtime = member.type, size, epoch
    plain.mode = (0o777 if member.isdir() else 0o666) & ~UMASK
    return plain


if __name__ == "__main__":
    sys.exit(main())
