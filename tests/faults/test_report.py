"""The report of `deploy/faults`: which run it is of, and what a missing tool is worth."""

import importlib.util
import json
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
import tools

HERE = Path(__file__).parent


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> ModuleType:
    """The program, whose parts find nothing amiss, at once."""
    monkeypatch.setattr(sys, "path", [str(HERE.parent / "bench"), *sys.path])
    spec = importlib.util.spec_from_file_location("faults_run", HERE / "run.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    figure = module.Figure("requests", "1", ">= 1", True)
    monkeypatch.setattr(module, "_tried", lambda _: [figure])
    monkeypatch.setenv("FAULTS_REPORT", str(tmp_path))
    return module


def written(folder: Path) -> dict[str, Any]:
    """Stem of each report -> what it says."""
    return {file.stem: json.loads(file.read_text()) for file in folder.glob("*.json")}


def test_a_run_of_some_parts_leaves_the_report_of_all_alone(
    run: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FAULTS_SCALE", "0.5")
    with pytest.raises(SystemExit):
        run.main([])
    whole = (tmp_path / "report.txt").read_text()
    assert "scale: 0.5" in whole and "counts set by hand: none" in whole
    monkeypatch.setenv("FAULTS_SOAK", "7")
    with pytest.raises(SystemExit):
        run.main(["soak", "slow"])
    assert (tmp_path / "report.txt").read_text() == whole
    found = written(tmp_path)
    assert set(found) == {"report", "report-slow-soak"}
    assert list(found["report"]["parts"]) == list(run.PARTS)
    assert list(found["report-slow-soak"]["parts"]) == ["slow", "soak"]
    assert found["report-slow-soak"]["counts set by hand"] == ["FAULTS_SOAK 7"]


def test_the_report_names_the_commit_and_the_start(
    run: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    commits = iter(["as it was at first", "as it became"])
    monkeypatch.setattr(run, "_commit", lambda: next(commits))
    with pytest.raises(SystemExit):
        run.main(["soak"])
    said = written(tmp_path)["report-soak"]
    assert said["commit"] == "as it was at first"
    assert said["began"] <= said["ended"]


def test_a_tool_that_is_installed_with_the_tests_must_be_there_in_ci(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="nginx is not installed"):
        tools.missing("nginx")
    with pytest.raises(pytest.skip.Exception, match="openssl is not installed"):
        tools.missing("openssl")
    monkeypatch.delenv("CI")
    with pytest.raises(pytest.skip.Exception, match="nginx is not installed"):
        tools.missing("nginx")
