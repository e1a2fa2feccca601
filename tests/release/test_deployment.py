"""The archive of what runs the service: whole, the same twice, and fit for the source's folder."""

import os
import shutil
import tarfile
from pathlib import Path

from build_twice import pack
from deployment import HELD
from strangers import ROOT
from supplied import EPOCH, Built, tool

NAME = "arrowloft-9.8.7"


def packed(folder: Path, source: Path = ROOT) -> Path:
    folder.mkdir()
    archive = folder / f"{NAME}-deploy.tar.gz"
    tool("deployment", source, archive, "--epoch", str(EPOCH))
    return archive


def test_it_holds_what_an_operator_needs(tmp_path: Path) -> None:
    with tarfile.open(packed(tmp_path / "made")) as opened:
        opened.extractall(tmp_path, filter="data")
        members = opened.getmembers()
    for name in HELD:
        there = [ROOT / name, *(ROOT / name).rglob("*")]
        for path in (path for path in there if path.is_file()):
            copy = tmp_path / NAME / path.relative_to(ROOT)
            assert copy.read_bytes() == path.read_bytes()
    assert {(member.uid, member.uname, member.mtime, member.mode) for member in members} == {
        (0, "", EPOCH, 0o644)
    }


def test_two_archives_agree(tmp_path: Path) -> None:
    """Whatever the times and modes of the files are."""
    other = tmp_path / "other"
    for name in reversed(HELD):
        (other / name).parent.mkdir(parents=True, exist_ok=True)
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copyfile
        copy(ROOT / name, other / name)
    for path in other.rglob("*"):
        os.utime(path, (1.0, 1.0))
        path.chmod(0o700)
    first, second = packed(tmp_path / "a"), packed(tmp_path / "b", other)
    assert first.read_bytes() == second.read_bytes()


def test_the_order_of_members_is_none_of_the_caller(tmp_path: Path) -> None:
    contents = [(tarfile.TarInfo(name), name.encode()) for name in ("b", "a/c", "a")]
    pack(tmp_path / "first", contents, EPOCH)
    pack(tmp_path / "second", reversed(contents), EPOCH)
    assert (tmp_path / "first").read_bytes() == (tmp_path / "second").read_bytes()


def test_with_the_source_distribution_the_image_has_all_that_is_copied(
    tmp_path: Path, built: Built
) -> None:
    with tarfile.open(built.source) as opened:
        names = {name.partition("/")[2] for name in opened.getnames()}
    with tarfile.open(packed(tmp_path / "made")) as opened:
        names |= {name.partition("/")[2] for name in opened.getnames()}
    kept = (ROOT / ".dockerignore").read_text().splitlines()
    for wanted in (line[1:] for line in kept if line.startswith("!")):
        assert wanted in names, wanted


def test_a_release_packs_it() -> None:
    steps = (ROOT / "deploy" / "release").read_text(encoding="utf-8")
    packs = steps.index('tool deployment "$SOURCE" "$MADE/$VERSION-deploy.tar.gz"')
    # Before it, the source distribution is the one archive there, which tells the version.
    assert steps.index("VERSION=$(basename") < packs < steps.rindex("write_sums")
