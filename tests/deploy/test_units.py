"""The units of a club's own machine, as systemd itself reads them."""

import re
import shlex
import subprocess
from pathlib import Path

import pytest
import tools
from manifests import DEPLOY, unit

UNITS = ("arrowloft@.service", "arrowloft-proxy.service")
EXPOSED = 2.5
"""Most exposure that systemd may find, of 10: its own limit for what it calls safe is higher."""


def analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    analyze = tools.needed("systemd-analyze")
    return subprocess.run([analyze, *arguments], capture_output=True, text=True, timeout=60)


@pytest.fixture
def units(tmp_path: Path) -> Path:
    """The units, with programs in the place of those that are not on this machine."""
    for file in (DEPLOY / "systemd").iterdir():
        text = file.read_text(encoding="utf-8")
        text = re.sub(r"=(/opt/arrowloft/bin/python|/usr/sbin/nginx) ", "=/bin/true ", text)
        (tmp_path / file.name).write_text(text)
    return tmp_path


@pytest.mark.parametrize("name", ["arrowloft@8001.service", "arrowloft-proxy.service"])
def test_systemd_understands_it(units: Path, name: str) -> None:
    template = re.sub(r"@\d+", "@", name)
    (units / template).rename(units / name)
    said = analyze("verify", "--man=no", str(units / name)).stderr
    assert [line for line in said.splitlines() if "arrowloft" in line] == []


def test_an_instance_keeps_its_version_when_the_link_is_moved(tmp_path: Path) -> None:
    python = tmp_path / "one" / "bin" / "python"
    python.parent.mkdir(parents=True)
    python.write_text('#!/bin/sh\necho "$0" "$@"\n')
    python.chmod(0o755)
    (tmp_path / "link").symlink_to("one")
    (start,) = unit("arrowloft@.service")["ExecStart"]
    command = shlex.split(
        start.replace("$$", "$").replace("/opt/arrowloft", str(tmp_path / "link"))
    )
    said = subprocess.run(command, capture_output=True, text=True, timeout=10, check=True)
    config = "--config /etc/arrowloft/gunicorn.conf.py"
    assert said.stdout == f"{python.resolve()} -P -m gunicorn {config}\n"


def test_the_steps_name_what_there_is() -> None:
    steps = (DEPLOY / "systemd" / "arrowloft.target").read_text(encoding="utf-8")
    for name in re.findall(r" (deploy/[a-z/.]*[a-z])", steps):
        assert list(DEPLOY.parent.glob(f"{name}*")), name
    users = (DEPLOY / "systemd" / "sysusers.conf").read_text(encoding="utf-8")
    assert set(re.findall(r"-g (\S+)", steps)) == set(re.findall(r"^u (\S+)", users, re.MULTILINE))


def test_a_slip_is_seen(units: Path) -> None:
    file = units / "arrowloft-proxy.service"
    file.write_text(file.read_text().replace("ProtectSystem=", "ProtectSystm="))
    assert "ProtectSystm" in analyze("verify", "--man=no", str(file)).stderr


@pytest.mark.parametrize("name", UNITS)
def test_little_is_exposed(units: Path, name: str) -> None:
    (units / name).rename(units / "tried.service")
    said = analyze("security", "--offline=yes", str(units / "tried.service"))
    found = re.search(r"Overall exposure level for \S+: ([0-9.]+)", said.stdout)
    assert found, said.stderr
    assert float(found[1]) <= EXPOSED, said.stdout
