"""The layer table of DEVELOPERS.md against what the modules import."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCES = (ROOT / "service", ROOT / "plugins")
PACKAGES = {"arrowloft", "arrowloft_models"}
LONGEST_MODULE = 500
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "service",
    "plugins",
    "openapi",
    "tests",
    "deploy",
}


def layer_table() -> dict[str, list[str]]:
    """Layer -> the names in its second column, in the order of the table."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = re.search(r"^\| layer \| may import.*\n\|[-|]+\|\n((?:\|.*\n)+)", text, re.MULTILINE)
    assert table, "DEVELOPERS.md has no table that starts with | layer | may import ... |"
    rows = (line.strip("| ").split("|") for line in table[1].splitlines())
    return {layer.strip(): names.strip().split(", ") for layer, names in rows}


def allowed_imports() -> dict[str, set[str]]:
    """Layer -> prefixes of module names that it may import."""
    allowed: dict[str, set[str]] = {}
    for layer, names in layer_table().items():
        own = module_of(layer)
        if names == ["everything above"]:
            names_allowed = set().union(*allowed.values()) | {module_of(name) for name in allowed}
        elif names == ["nothing"]:
            names_allowed = set()
        else:
            layers = layer_table()
            names_allowed = {module_of(n) if n in layers else n.lower() for n in names}
        allowed[layer] = names_allowed | {own}
    return allowed


def module_of(layer: str) -> str:
    return layer if layer in PACKAGES else f"arrowloft.{layer}"


def modules() -> Iterator[tuple[str, Path]]:
    """Dotted name and file of every module of the project."""
    for source in SOURCES:
        for path in sorted(source.rglob("*.py")):
            if ROOT / "plugins" / "example" in path.parents:  # a distribution of its own
                continue
            parts = path.relative_to(source).with_suffix("").parts
            yield ".".join(parts[:-1] if parts[-1] == "__init__" else parts), path


MODULES = dict(modules())


def is_in(module: str, prefix: str) -> bool:
    return module == prefix or module.startswith(prefix + ".")


def layer_of(module: str) -> str | None:
    return next((name for name in layer_table() if is_in(module, module_of(name))), None)


def imports_in(module: str, path: Path) -> Iterator[tuple[int, str]]:
    """Line and full name of everything imported, lazily and by import_module too."""
    package = module if path.stem == "__init__" else module.rpartition(".")[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parents = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*parents, *filter(None, [base])])
            for alias in node.names:
                full = f"{base}.{alias.name}"
                yield node.lineno, full if full in MODULES else base
        elif isinstance(node, ast.Call):
            name = getattr(node.func, "attr", getattr(node.func, "id", None))
            if name in ("import_module", "__import__"):
                first = node.args[0] if node.args else None
                known = isinstance(first, ast.Constant) and isinstance(first.value, str)
                yield node.lineno, first.value if known else "(computed name)"


def is_free(name: str) -> bool:
    """The standard library; and the package's own root, which holds its version only."""
    return name.split(".")[0] in sys.stdlib_module_names or name == "arrowloft"


def breaches(module: str, path: Path) -> list[str]:
    allowed = allowed_imports()[layer_of(module)]
    return [
        f"{path}:{line} imports {name}"
        for line, name in imports_in(module, path)
        if not is_free(name) and not any(is_in(name, prefix) for prefix in allowed)
    ]


def test_every_module_belongs_to_a_layer() -> None:
    strays = [name for name in MODULES if name not in PACKAGES and layer_of(name) is None]
    assert strays == []


def test_every_layer_exists() -> None:
    assert [layer for layer in layer_table() if module_of(layer) not in MODULES] == []


def test_each_folder_of_the_core_builds_on_those_before_it() -> None:
    """In the order of DEVELOPERS.md, which names every folder."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (listed,) = re.findall(r"A folder a subject(.*)$", text, re.MULTILINE)
    folders = re.findall(r"`(\w+)`", listed)
    core = {name: path for name, path in MODULES.items() if is_in(name, "arrowloft.core")}
    assert sorted(folders) == sorted(
        {name.split(".")[2] for name, path in core.items() if path.parent.name != "core"}
    )
    upward = [
        f"{name}:{line} imports {found}"
        for name, path in core.items()
        for line, found in imports_in(name, path)
        if is_in(found, "arrowloft.core")
        and (place := found.split(".")[2]) in folders
        and (own := name.split(".")[2] if name.count(".") > 1 else "") in folders
        and folders.index(place) > folders.index(own)
    ]
    assert upward == []


def test_every_layer_keeps_to_the_table() -> None:
    found = [
        breach
        for module, path in MODULES.items()
        if layer_of(module)
        for breach in breaches(module, path)
    ]
    assert found == []


def test_the_package_root_imports_nothing() -> None:
    assert list(imports_in("arrowloft", MODULES["arrowloft"])) == []


def test_the_service_never_imports_a_model() -> None:
    found = [
        f"{path}:{line}"
        for module, path in MODULES.items()
        for line, name in imports_in(module, path)
        if is_in(module, "arrowloft") and is_in(name, "arrowloft_models")
    ]
    assert found == []


@pytest.mark.parametrize(
    ("module", "code", "caught"),
    [
        ("arrowloft.core.probe", "import numpy.linalg", False),
        ("arrowloft.core.probe", "import math, json", False),
        ("arrowloft.core.probe", "from arrowloft import __version__", False),
        ("arrowloft.core.probe", "from .air import Air", False),
        ("arrowloft.core.probe", "import flask", True),
        ("arrowloft.core.probe", "from arrowloft import units", True),
        ("arrowloft.core.probe", "from .. import units", True),
        ("arrowloft.core.probe", "from ..units import parse", True),
        ("arrowloft.core.probe", "def late():\n    import arrowloft.units", True),
        ("arrowloft.core.probe", "import importlib\nimportlib.import_module('flask')", True),
        ("arrowloft.core.probe", "import importlib\nimportlib.import_module(name)", True),
        ("arrowloft.plugin.probe", "import scipy", True),
        ("arrowloft.client", "import arrowloft.core.setup.air", True),
        ("arrowloft_models.drag.probe", "from arrowloft.core.setup.air import Air", True),
        ("arrowloft_models.drag.probe", "from arrowloft.plugin import Air", False),
        ("arrowloft.api.probe", "from werkzeug.exceptions import NotFound", False),
        ("arrowloft.api.probe", "import requests", True),
        ("arrowloft.api.probe", "from arrowloft.pictures import overshoot", True),
        ("arrowloft.pictures.probe", "from arrowloft.api import replies", True),
        ("arrowloft.pictures.probe", "def late():\n    import matplotlib.figure", False),
        ("arrowloft.app", "import arrowloft.api.problems, flask", False),
    ],
)
def test_a_breach_would_be_caught(module: str, code: str, caught: bool, tmp_path: Path) -> None:
    probe = tmp_path / "probe.py"
    probe.write_text(code)
    assert bool(breaches(module, probe)) is caught


def test_modules_are_short_enough_to_read() -> None:
    lengths = {
        name: len(path.read_text(encoding="utf-8").splitlines()) for name, path in MODULES.items()
    }
    assert {name: lines for name, lines in lengths.items() if lines > LONGEST_MODULE} == {}


def test_the_top_level_holds_what_it_should() -> None:
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout: there is no list of what belongs to it")
    listing = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    top = {line.split("/")[0] for line in listing.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_the_start_does_not_wait_for_scipy_stats():
    """It takes half a second to import; what is needed of it is in scipy.special too."""
    code = "import sys; import arrowloft.app; sys.exit('scipy.stats' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
