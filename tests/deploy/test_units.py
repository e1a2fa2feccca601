"""The units of a club's own machine, as systemd itself reads them."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from manifests import DEPLOY

ANALYZE = shutil.which("systemd-analyze")
UNITS = ("arrowloft@.service", "arrowloft-proxy.service")
EXPOSED = 2.5
"""Most exposure that systemd may find, of 10: its own limit for what it calls safe is higher."""

needs_systemd = pytest.mark.skipif(ANALYZE is None, reason="systemd is not installed")


def analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    assert ANALYZE
    return subprocess.run([ANALYZE, *arguments], capture_output=True, text=True, timeout=60)


@pytest.fixture
def units(tmp_path: Path) -> Path:
    """The units, with programs in the place of those that are not on this machine."""
    for file in (DEPLOY / "systemd").iterdir():
        text = file.read_text(encoding="utf-8")
        text = re.sub(r"=(/opt/arrowloft/bin/python|/usr/sbin/nginx) ", "=/bin/true ", text)
        (tmp_path / file.name).write_text(text)
    return tmp_path


@needs_systemd
@pytest.mark.parametrize("name", ["arrowloft@8001.service", "arrowloft-proxy.service"])
def test_systemd_understands_it(units: Path, name: str) -> None:
    template = re.sub(r"@\d+", "@", name)
    (units / template).rename(units / name)
    said = analyze("verify", "--man=no", str(units / name)).stderr
    assert [line for line in said.splitlines() if "arrowloft" in line] == []


@needs_systemd
def test_a_slip_is_seen(units: Path) -> None:
    unit = units / "arrowloft-proxy.service"
    unit.write_text(unit.read_text().replace("ProtectSystem=", "ProtectSystm="))
    assert "ProtectSystm" in analyze("verify", "--man=no", str(unit)).stderr


@needs_systemd
@pytest.mark.parametrize("name", UNITS)
def test_little_is_exposed(units: Path, name: str) -> None:
    (units / name).rename(units / "tried.service")
    said = analyze("security", "--offline=yes", str(units / "tried.service"))
    found = re.search(r"Overall exposure level for \S+: ([0-9.]+)", said.stdout)
    assert found, said.stderr
    assert float(found[1]) <= EXPOSED, said.stdout
