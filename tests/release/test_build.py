"""The wheel: the same twice, whole, and enough for the service with what is locked."""

import shutil
import sys
import tarfile
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest
from build_twice import NotSound, compare, whole
from strangers import ROOT
from supplied import EPOCH, SUPPLY, Built, run

MUST_BE_IN = (
    "arrowloft/kiosk/page/index.html",
    "arrowloft/kiosk/document/examples.json",
    "arrowloft/operation/settings.py",
    "arrowloft/py.typed",
    "arrowloft_models/drag/constant.py",
    "arrowloft_models/launch/measured.py",
)


def test_two_builds_agree_and_the_wheel_is_whole(built: Built) -> None:
    """Else the tool that builds them has failed already; here what it must not have overlooked."""
    with zipfile.ZipFile(built.wheel) as opened:
        names = opened.namelist()
    assert set(MUST_BE_IN) <= set(names)
    assert any(name.startswith("arrowloft/guide/") for name in names)
    tops = {name.partition("/")[0] for name in names if ".dist-info/" not in name}
    assert tops == {"arrowloft", "arrowloft_models"}
    assert not [name for name in names if "test" in name or name.endswith(".pyc")]


def test_the_source_distribution_tells_nothing_of_who_built_it(built: Built) -> None:
    with tarfile.open(built.source) as opened:
        members = opened.getmembers()
    assert {(member.uid, member.gid, member.uname, member.gname) for member in members} == {
        (0, 0, "", "")
    }
    assert {member.mtime for member in members} == {EPOCH}


def test_the_licence_is_in_what_is_built(built: Built) -> None:
    text = (ROOT / "deploy" / "LICENSE").read_bytes()
    with zipfile.ZipFile(built.wheel) as opened:
        (name,) = (name for name in opened.namelist() if name.endswith("licenses/deploy/LICENSE"))
        assert opened.read(name) == text
    with tarfile.open(built.source) as opened_source:
        names = opened_source.getnames()
    assert [name for name in names if name.endswith("/deploy/LICENSE")]


def test_builds_that_differ_are_told(built: Built, tmp_path: Path) -> None:
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        shutil.copy(built.wheel, tmp_path / name)
    compare(tmp_path / "first", tmp_path / "second")
    with (tmp_path / "second" / built.wheel.name).open("ab") as changed:
        changed.write(b" ")
    with pytest.raises(NotSound, match=r"two builds differ in arrowloft-.*\.whl$"):
        compare(tmp_path / "first", tmp_path / "second")


@pytest.mark.parametrize(
    ("left_out", "added", "told"),
    [
        ("arrowloft/kiosk/page/index.html", None, "lacks arrowloft/kiosk/page/index.html;"),
        (None, "tests/core/test_aim.py", "holds tests/core/test_aim.py,"),
    ],
)
def test_a_wheel_that_is_not_whole_is_told(
    built: Built, tmp_path: Path, left_out: str | None, added: str | None, told: str
) -> None:
    with (
        zipfile.ZipFile(built.wheel) as opened,
        zipfile.ZipFile(tmp_path / built.wheel.name, "w") as changed,
    ):
        for name in opened.namelist():
            if name != left_out:
                changed.writestr(name, opened.read(name))
        if added:
            changed.writestr(added, b"")
    with pytest.raises(NotSound, match=told):
        whole(tmp_path, ROOT)


def test_it_works_with_what_is_locked_and_nothing_else(
    built: Built, python: Path, tmp_path: Path
) -> None:
    pip = [sys.executable, "-P", "-m", "pip", "--disable-pip-version-check", "--python", python]
    run(*pip, "install", "--no-index", "--no-deps", built.wheel)
    assert "No broken requirements" in run(*pip, "check")
    with zipfile.ZipFile(built.wheel) as opened:
        (metadata,) = (name for name in opened.namelist() if name.endswith(".dist-info/METADATA"))
        version = Parser().parsestr(opened.read(metadata).decode())["Version"]
    told = run(python, "-I", "-m", "arrowloft.command", "--version", cwd=tmp_path)
    assert told == f"arrowloft {version}\n"
    example = ROOT / "openapi" / "examples" / "mark-table.request.json"
    told = run(python, "-I", SUPPLY / "try_wheel.py", example, cwd=tmp_path)
    assert told == f"arrowloft {version} works from its wheel\n"
    run(*pip, "uninstall", "--yes", "arrowloft")


def test_the_tests_packages_are_not_in_that_environment(python: Path) -> None:
    assert "No module named 'pytest'" in run(python, "-I", "-c", "import pytest", code=1)
