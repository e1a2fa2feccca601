"""What README.md and DEVELOPERS.md say, and what the docstrings leave out."""

import ast
import importlib.util
import inspect
import json
import re
import sys
from collections.abc import Iterator
from dataclasses import asdict
from importlib.metadata import entry_points
from pathlib import Path
from types import ModuleType

import pytest

from arrowloft import units
from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.plugin import QUANTITIES, DragModel, parameter
from arrowloft.plugin.conformance import check_drag_model

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PUBLIC = sorted(
    [
        *(ROOT / "service").rglob("*.py"),
        *(ROOT / "plugins").rglob("*.py"),
    ]
)


def undocumented(tree: ast.Module) -> Iterator[str]:
    """Public functions, classes and their public methods without a docstring."""
    inner = [
        (f"{owner.name}.", node)
        for owner in tree.body
        if isinstance(owner, ast.ClassDef) and not owner.name.startswith("_")
        for node in owner.body
        if isinstance(node, ast.FunctionDef)
    ]
    for prefix, node in [*(("", node) for node in tree.body), *inner]:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        if any(
            isinstance(mark, ast.Name) and mark.id == "overload" for mark in node.decorator_list
        ):
            continue
        if not (ast.get_docstring(node) or "").strip():
            yield prefix + node.name


@pytest.mark.parametrize("path", PUBLIC, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_public_name_has_a_docstring(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if tree.body:
        assert ast.get_docstring(tree), "the module has no docstring"
    assert list(undocumented(tree)) == []


def table_column(head: str) -> set[str]:
    """The names in code marks in the first column of the README table with this head."""
    table = re.search(rf"^\| {head} \|.*\n\|[-|]+\|\n((?:\|.*\n?)+)", README, re.MULTILINE)
    assert table, f"README.md has no table with the head {head}"
    return set(re.findall(r"^\| `([^`]+)`", table[1], re.MULTILINE))


def test_readme_lists_every_route() -> None:
    rules = [str(rule) for rule in create_app().url_map.iter_rules()]
    assert table_column("path") == {re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule) for rule in rules}


@pytest.mark.parametrize("kind", ["drag", "launch"])
def test_readme_lists_every_built_in_model(kind: str) -> None:
    installed = {
        point.name
        for point in entry_points(group=f"arrowloft.{kind}_models")
        if point.dist is not None and point.dist.name == "arrowloft"
    }
    assert installed
    assert table_column(f"{kind} model") == installed


def assert_holds(shown: object, actual: object, where: str = "") -> None:
    """Whatever is shown stands in the actual reply; a shown list holds some of its items."""
    if isinstance(shown, dict):
        assert isinstance(actual, dict), where
        for name, value in shown.items():
            assert_holds(value, actual[name], f"{where}/{name}")
    elif isinstance(shown, list):
        assert isinstance(actual, list), where
        key = {"rows": "distance", "notes": "code"}[where.rsplit("/", 1)[-1]]
        found = {item[key]: item for item in actual}
        for item in shown:
            assert_holds(item, found[item[key]], f"{where}/{item[key]}")
    elif where.endswith("error_estimate"):
        # Rounding decides its digits: only its size, in deg, can be promised.
        assert isinstance(actual, float) and 0.0 < actual < 1e-6, where
    elif isinstance(shown, float):
        assert actual == pytest.approx(shown, rel=1e-6, abs=1e-9), where
    else:
        assert actual == shown, where


def test_the_readme_shows_a_request_and_its_true_reply() -> None:
    request, reply = code_blocks("One request", "json", README)
    client = create_app().test_client()
    answered = client.post("/v1/mark-table", data=request, content_type="application/json")
    assert answered.status_code == 200
    assert_holds(json.loads(reply), answered.json)


def questions() -> list[tuple[str, str]]:
    """Path and own members of each question of the sections that ask some."""
    found = []
    for heading in ("More questions", "For researchers"):
        section = re.search(rf"^## {heading}\n(.*?)^## ", README, re.MULTILINE | re.DOTALL)
        assert section
        asked = re.findall(
            r"`(/v1/[\w-]+)`.*?^```json\n(.*?)^```", section[1], re.MULTILINE | re.DOTALL
        )
        assert asked
        found += asked
    return found


ALONE = {"/v1/balance"}
"""Computations without a flight, whose request takes no part of the set-up."""

WITHOUT = {"/v1/comparison": ("launch", "drag"), "/v1/fit": ("launch", "drag", "sight")}
"""Members of the set-up that others stand for."""


@pytest.mark.parametrize(("path", "members"), questions(), ids=lambda text: text.split("\n")[0])
def test_the_readme_s_questions_are_answered(path: str, members: str) -> None:
    setup = json.loads(code_blocks("One request", "json", README)[0])
    del setup["distances"]
    for member in WITHOUT.get(path, ()):
        del setup[member]
    request = ({} if path in ALONE else setup) | json.loads(members)
    answered = create_app().test_client().post(path, json=request)
    assert answered.status_code == 200, answered.json


def test_the_readme_asks_every_question() -> None:
    asked = {path for path, _ in questions()} | {
        "/v1/mark-table",
        "/v1/trajectory",
        "/v1/launch-speed",
    }
    computations = {path for path in table_column("path") if "POST" in row_of(path)}
    assert asked == computations


def row_of(path: str) -> str:
    """The row of the README's table of paths."""
    return next(line for line in README.splitlines() if line.startswith(f"| `{path}`"))


def code_blocks(heading: str, language: str, document: str = DEVELOPERS) -> list[str]:
    """The code blocks under a heading of a document."""
    section = re.search(rf"^## {heading}\n(.*?)(?=^## |\Z)", document, re.MULTILINE | re.DOTALL)
    assert section, f"there is no section {heading}"
    return re.findall(rf"^```{language}\n(.*?)^```", section[1], re.MULTILINE | re.DOTALL)


def test_developers_md_lists_what_a_parameter_and_a_range_may_be() -> None:
    section = re.search(r"^## A drag model in ten minutes\n(.*?)^## ", DEVELOPERS, re.M | re.S)
    assert section
    shown = set(re.findall(r"`(\w+)`", section[1]))
    known = {name for named in QUANTITIES.values() for name in named}
    assert set(inspect.signature(parameter).parameters) <= shown
    assert set(units.DIMENSIONS) | known <= shown


@pytest.fixture
def example_model(tmp_path: Path) -> Iterator[ModuleType]:
    """The model of DEVELOPERS.md and the test below it, as one module."""
    path = tmp_path / "example_model.py"
    path.write_text("\n\n".join(code_blocks("A drag model in ten minutes", "python")))
    spec = importlib.util.spec_from_file_location("example_model", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # Where pickle looks for the class.
    sys.modules["example_model"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["example_model"]


def test_the_example_model_keeps_the_contract(example_model: ModuleType) -> None:
    models = [
        value
        for value in vars(example_model).values()
        if isinstance(value, type) and issubclass(value, DragModel) and value is not DragModel
    ]
    assert len(models) == 1
    check_drag_model(models[0])
    example_model.test_it_keeps_the_contract()


def test_the_example_entry_point_names_the_example(example_model: ModuleType) -> None:
    (block,) = code_blocks("A drag model in ten minutes", "toml")
    name, target = re.search(r'^([\w-]+) = "[\w.]+:(\w+)"', block, re.MULTILINE).groups()
    assert getattr(example_model, target).name == name


def test_readme_lists_every_setting() -> None:
    code = (ROOT / "service/arrowloft/operation/settings.py").read_text(encoding="utf-8")
    code += (ROOT / "deploy/gunicorn.conf.py").read_text(encoding="utf-8")
    read = {
        f"ARROWLOFT_{name}"
        for name in re.findall(r'(?:get|_variable|_word|_whole)\(\s*["\']([A-Z_]+)["\']', code)
    }
    assert len(read) > 10
    table = re.search(r"^\| variable \|.*\n\|[-|]+\|\n((?:\|.*\n?)+)", README, re.MULTILINE)
    assert table
    named = set(re.findall(r"`(ARROWLOFT_[A-Z_]+)`", table[1]))
    assert named - {"ARROWLOFT_LIMIT_"} == read


def test_readme_lists_every_limit() -> None:
    listed = re.search(r"^\*\*Limits\*\* of one request: .*", README, re.MULTILINE)
    assert listed
    named = re.findall(r"([\d,]+\d|\d)[^(]*?\(`([A-Z]+)`\)", listed[0])
    found = {name.lower(): float(value.replace(",", "")) for value, name in named}
    found["body"] *= 1024
    assert found == asdict(Limits())
