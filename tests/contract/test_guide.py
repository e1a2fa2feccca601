"""The researchers' guide: its commands run, and its tables hold what the replies say."""

import json
import re
import shlex
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from arrowloft.app import create_app

ROOT = Path(__file__).resolve().parents[2]
GUIDE = (ROOT / "service/arrowloft/guide/researchers.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^\.venv/bin/arrowloft ask (.*)$", GUIDE, re.MULTILINE)


@cache
def answered(path: str, name: str) -> dict[str, Any]:
    body = (ROOT / "service/arrowloft/guide" / name).read_bytes()
    client = create_app().test_client()
    reply = client.post(f"/v1/{path}", data=body, content_type="application/json")
    assert reply.status_code == 200, reply.text
    return json.loads(reply.data)


def rows(heading: str) -> list[list[str]]:
    """The rows of the table in a section of the guide."""
    section = re.search(rf"^## {re.escape(heading)}\n(.*?)(?=^## )", GUIDE, re.M | re.S)
    assert section
    found = re.search(r"^\|[-|]+\|\n((?:\|.*\n)+)", section[1], re.MULTILINE)
    assert found
    return [
        [cell.strip() for cell in line.strip("| ").split("|")] for line in found[1].splitlines()
    ]


def close(texts: list[str], values: list[float]) -> bool:
    return [float(text) for text in texts] == pytest.approx(values, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_names_a_request_that_is_answered(command: str) -> None:
    path, name, *_ = shlex.split(command.partition(">")[0])
    assert answered(path, Path(name).name)
    assert (ROOT / name).exists()


def test_every_request_beside_the_guide_is_worked_through() -> None:
    beside = {path.name for path in (ROOT / "service/arrowloft/guide").glob("*.json")}
    assert beside == {Path(shlex.split(command)[1]).name for command in COMMANDS}


def test_the_comparison_parts_where_the_guide_says() -> None:
    summary = {
        item["labels"]["drag"]: item
        for item in answered("comparison", "which-layer.json")["summary"]
    }
    table = rows("Which layer, and does it matter?")
    assert len(table) == len(summary) - 1
    for label, *numbers in table:
        item = summary[label]
        assert item["up"]["distance"] == 70.0
        said = [
            item["up"]["difference"],
            item["parted_in_height_from"],
            item["parted_in_clicks_from"],
        ]
        assert close(numbers, said)


def test_the_fit_ranks_as_the_guide_says() -> None:
    reply = answered("fit", "which-law.json")
    table = rows("Which law do my readings support?")
    assert [row[0] for row in table] == [item["label"] for item in reply["ranking"]]
    for (_, *numbers), item in zip(table, reply["ranking"], strict=True):
        names = ("unknowns", "chi_square", "difference", "weight")
        assert [float(text) for text in numbers] == pytest.approx(
            [item[name] for name in names], rel=1e-4, abs=1e-30
        )
    best = next(item for item in reply["models"] if item["label"] == "two layers")
    found = re.search(r"comes back: ([\d.]+) ± ([\d.]+) laminar, ([\d.]+) ± ([\d.]+)", GUIDE)
    assert found
    said = [
        one[name] for one in best["parameters"][:2] for name in ("value", "standard_uncertainty")
    ]
    assert [float(text) for text in found.groups()] == pytest.approx(said, rel=1e-4)


def test_the_sweep_spreads_as_the_guide_says() -> None:
    summary = answered("sweep", "how-sure.json")["summary"]
    for temperature, distance, *numbers in rows("How sure is a mark that nobody has shot?"):
        places = zip(summary["/air/temperature"], summary["distance"], strict=True)
        index = list(places).index((float(temperature), float(distance)))
        said = [summary[f"travel.quantile_{share}"][index] for share in ("0.05", "0.5", "0.95")]
        assert close(numbers, said)
