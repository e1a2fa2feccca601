"""The locks hold what pyproject.toml asks for."""

import tomllib
from collections.abc import Sequence

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from pins import pins, versions
from strangers import ROOT
from supplied import LOCK

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = PROJECT["project"]["optional-dependencies"]
RUNTIME = [*PROJECT["project"]["dependencies"], *PROJECT["build-system"]["requires"]]
OURS = "arrowloft"


@pytest.mark.parametrize(
    ("name", "asked"),
    [
        ("requirements.lock", RUNTIME),
        ("requirements-test.lock", RUNTIME + [item for extra in EXTRAS.values() for item in extra]),
    ],
)
def test_every_dependency_is_locked_in_a_version_that_was_asked_for(
    name: str, asked: Sequence[str]
) -> None:
    locked = versions(ROOT / "deploy" / name)
    for requirement in map(Requirement, asked):
        if canonicalize_name(requirement.name) != OURS:
            found = locked.get(canonicalize_name(requirement.name), ())
            assert found, f"{requirement} is not locked; run deploy/lock"
            assert all(map(requirement.specifier.contains, found)), (str(requirement), found)


def test_what_the_tools_read_is_the_whole_lock() -> None:
    for name in ("requirements.lock", "requirements-test.lock"):
        text = (ROOT / "deploy" / name).read_text(encoding="utf-8")
        read = list(pins(ROOT / "deploy" / name))
        assert len(read) == text.count("==") - text.count(" == ")
        assert sum(len(pin.hashes) for pin in read) == text.count("--hash=")


def test_what_only_the_tests_need_is_no_part_of_the_runtime() -> None:
    only_tested = {
        "pytest",
        "hypothesis",
        "schemathesis",
        "mypy",
        "ruff",
        "pip-audit",
        "playwright",
    }
    assert not only_tested & versions(LOCK).keys()
