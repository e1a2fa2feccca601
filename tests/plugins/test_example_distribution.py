"""The example distribution, as a stranger builds, installs, tests, uses and removes it.

The environment is new, without pip and without the network: what arrowloft itself needs it
borrows from the one that the tests run in.
"""

import ast
import json
import re
import shutil
import subprocess
import sys
import sysconfig
import tarfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from setuptools import find_packages
from strangers import ROOT, Service, clean_environment

EXAMPLE = ROOT / "plugins" / "example"
NAME = "arrowloft-example-models"
OFFLINE = ["--no-index", "--no-deps", "--no-build-isolation"]
README = (EXAMPLE / "README.md").read_text(encoding="utf-8")
(_SHOWN,) = re.findall(r"^```json\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
DRAG, LAUNCH = (json.loads(_SHOWN)[kind] for kind in ("drag", "launch"))
"""The choices that the example's README shows."""

PARAMETERS = {
    "power-law": {"coefficient", "exponent", "reference_reynolds", "uncertainty"},
    "half-draw": {
        "half_draw_force",
        "virtual_mass",
        "hysteresis",
        "energy_uncertainty",
        "virtual_mass_uncertainty",
    },
}


def run(*command: str | Path, cwd: Path = ROOT) -> str:
    """What a command prints; it must succeed, and within half a minute."""
    done = subprocess.run(
        [str(word) for word in command],
        cwd=cwd,
        env=clean_environment() | {"PIP_CONFIG_FILE": "/dev/null"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=30,
    )
    assert done.returncode == 0, done.stdout
    return done.stdout


def pip(*arguments: str | Path, python: Path | str = sys.executable) -> str:
    return run(python, "-P", "-m", "pip", "--disable-pip-version-check", *arguments)


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The source distribution, built from a copy: a build leaves folders behind."""
    folder = tmp_path_factory.mktemp("source")
    left_behind = shutil.ignore_patterns("__pycache__", "build", "*.egg-info", ".*")
    shutil.copytree(EXAMPLE, folder / "example", ignore=left_behind)
    build = "import sys; from setuptools.build_meta import build_sdist; build_sdist(sys.argv[1])"
    run(sys.executable, "-c", build, folder, cwd=folder / "example")
    (made,) = folder.glob("*.tar.gz")
    return made


@pytest.fixture(scope="module")
def wheel(source: Path) -> Path:
    """The wheel, built from the source distribution and so from what that holds."""
    pip("wheel", *OFFLINE, "--wheel-dir", source.parent, source)
    (made,) = source.parent.glob("*.whl")
    return made


@pytest.fixture
def python(tmp_path: Path) -> Path:
    """The interpreter of a new environment that sees the packages of this one."""
    folder = tmp_path / "environment"
    run(sys.executable, "-I", "-m", "venv", "--without-pip", folder)
    own = folder / "bin" / "python"
    (packages,) = folder.glob("lib/python*/site-packages")
    borrowed = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    # By addsitedir, so that their own .pth files count: one of them points at this checkout.
    lines = [f"import site; site.addsitedir({path!r})" for path in sorted(borrowed)]
    (packages / "borrowed.pth").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return own


@pytest.fixture
def installed(python: Path, wheel: Path) -> Path:
    """That interpreter, with the example installed."""
    pip("install", *OFFLINE, wheel, python=python)
    return python


def listed(service: Service) -> dict[tuple[str, str], str]:
    """Kind and name of every model -> where it came from."""
    models = service.get("/v1/models")["models"]
    return {(model["kind"], model["name"]): model["origin"] for model in models}


def documented(document: Any) -> Iterator[tuple[str, set[str]]]:
    """Name and parameters of every choice of a model anywhere in a document."""
    for part in document.values() if isinstance(document, dict) else document:
        if isinstance(part, dict | list):
            yield from documented(part)
    if isinstance(document, dict) and "const" in document.get("model", {}):
        parameters = document.get("parameters", {})
        yield document["model"]["const"], set(parameters.get("properties", {}))


def resolved(document: Any) -> Any:
    """The document's request schemas with each model's parameters in their place."""
    schemas = document["components"]["schemas"]

    def inner(part: Any) -> Any:
        if isinstance(part, list):
            return [inner(item) for item in part]
        if not isinstance(part, dict):
            return part
        reference = part.get("$ref", "")
        if reference.endswith("Parameters"):
            return inner(schemas[reference.rpartition("/")[2]])
        return {key: inner(item) for key, item in part.items()}

    return inner({name: part for name, part in schemas.items() if name.endswith("Request")})


def check_mark_table(service: Service, asked: dict[str, Any]) -> None:
    """Both models answer, and their sources stand in the reply."""
    status, table = service.post("/v1/mark-table", asked | {"drag": DRAG, "launch": LAUNCH})
    assert status == 200, table
    assert (table["drag"]["model"], table["drag"]["version"]) == ("power-law", "1")
    assert table["launch"]["model"] == "half-draw"
    assert "fullness" in table["launch"]["figures"]
    assert any("Blasius" in source["title"] for source in table["drag"]["sources"])


def check_comparison(service: Service, asked: dict[str, Any]) -> None:
    """A stranger's models stand beside the built-in ones, and their answer is their own."""
    own = dict(asked)
    launch, drag = own.pop("launch"), own.pop("drag")
    own["launches"] = [launch, {"label": "two readings", **LAUNCH}]
    # At an exponent of 0 the power law is the constant one.
    flat = {"model": "power-law", "parameters": {"coefficient": 1.8, "exponent": 0}}
    constant = {"model": "constant", "parameters": {"coefficient": 1.8}}
    own["drags"] = [{"label": "flat", **flat}, constant, DRAG, drag]
    own["baseline"] = {"drag": "constant"}
    status, compared = service.post("/v1/comparison", own)
    assert status == 200, compared
    lanes = compared["lanes"]
    assert [lane["labels"]["drag"] for lane in lanes] == 2 * [
        "flat",
        "constant",
        "power-law",
        drag["model"],
    ]
    assert [lane["launch"]["model"] for lane in lanes[4:]] == 4 * ["half-draw"]
    flat_ups, falling_ups = ([row["up"] for row in lanes[lane]["rows"]] for lane in (0, 2))
    assert flat_ups == pytest.approx([0.0] * len(flat_ups), abs=1e-3)
    assert max(map(abs, falling_ups)) > 1.0


def test_it_is_installed_served_and_removed(
    installed: Path, serve: Callable[..., Service], asked: dict[str, Any]
) -> None:
    service = serve(python=str(installed))
    with_it = listed(service)
    assert {with_it["drag", "power-law"], with_it["launch", "half-draw"]} == {f"{NAME} 1.0"}
    choices = [
        choice
        for choice in documented(resolved(service.get("/openapi.json")))
        if choice[0] in PARAMETERS
    ]
    assert {name for name, _ in choices} == set(PARAMETERS)
    assert all(found == PARAMETERS[name] for name, found in choices)
    check_mark_table(service, asked)
    check_comparison(service, asked)
    service.end()

    pip("uninstall", "--yes", NAME, python=installed)
    without_it = listed(serve(python=str(installed)))
    assert without_it.items() < with_it.items()
    assert with_it.keys() - without_it.keys() == {("drag", "power-law"), ("launch", "half-draw")}


def test_its_own_tests_pass_where_it_is_installed(
    installed: Path, source: Path, tmp_path: Path
) -> None:
    """Those that the source distribution holds, away from the checkout."""
    with tarfile.open(source) as archive:
        archive.extractall(tmp_path, filter="data")
    (unpacked,) = tmp_path.glob("arrowloft_example_models-*")
    # What is tested is what was installed, not what lies beside the tests.
    shutil.rmtree(unpacked / "example_models")
    told = run(installed, "-P", "-m", "pytest", "-p", "no:cacheprovider", cwd=unpacked)
    assert " passed" in told and "failed" not in told


def test_the_wheel_holds_the_package_alone(wheel: Path, tmp_path: Path) -> None:
    shutil.unpack_archive(wheel, tmp_path, "zip")
    found = {str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file()}
    assert {path for path in found if ".dist-info/" not in path} == {
        "example_models/__init__.py",
        "example_models/half_draw.py",
        "example_models/power_law.py",
        "example_models/py.typed",
    }


def test_it_keeps_to_what_a_model_may_import() -> None:
    allowed = {"arrowloft.plugin", "numpy", "dataclasses", "types", "math"}
    imported = {
        node.module if isinstance(node, ast.ImportFrom) else alias.name
        for path in (EXAMPLE / "example_models").glob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    }
    assert imported <= allowed


def test_it_is_no_part_of_arrowloft_itself() -> None:
    assert not [name for name in find_packages(str(ROOT / "plugins")) if "example" in name]
