"""The bill of materials tells what the runtime's lock names, and the same every time."""

import json
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from pins import versions
from strangers import ROOT
from supplied import EPOCH, LOCK, tool

PROJECT = ROOT / "pyproject.toml"


@pytest.fixture(scope="module")
def text(python: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """As the tool writes it, which holds it against the schema first."""
    written = tmp_path_factory.mktemp("bill") / "bill.json"
    tool("bill", "--project", PROJECT, "--version", "9.8.7", "--output", written, python)
    return written.read_text(encoding="utf-8")


def test_it_holds_what_is_locked(text: str) -> None:
    locked = versions(LOCK)
    told = {
        canonicalize_name(component["name"]): component["version"]
        for component in json.loads(text)["components"]
    }
    assert told.keys() == locked.keys()
    assert all(version in locked[name] for name, version in told.items())


def test_it_says_what_it_is_the_bill_of(text: str) -> None:
    bill = json.loads(text)
    about = bill["metadata"]["component"]
    assert (about["name"], about["version"]) == ("arrowloft", "9.8.7")
    (needed,) = (
        entry["dependsOn"] for entry in bill["dependencies"] if entry["ref"] == about["bom-ref"]
    )
    asked = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["dependencies"]
    assert {canonicalize_name(reference.partition("==")[0]) for reference in needed} == {
        canonicalize_name(Requirement(item).name) for item in asked
    }


def test_nothing_in_it_belongs_to_this_machine_or_moment(text: str, python: Path) -> None:
    bill = json.loads(text)
    assert "serialNumber" not in bill
    told = datetime.fromisoformat(bill["metadata"]["timestamp"])
    assert told == datetime.fromtimestamp(EPOCH, UTC)
    assert str(python.parents[1]) not in text and str(ROOT) not in text
