"""What the log says at the start: the settings in force, and where they leave it open."""

import json
import logging
from pathlib import Path

import pytest
from strangers import start, wait_until_served

from arrowloft.api.resource import Limits
from arrowloft.operation.key_lists import key_lists
from arrowloft.operation.keys import fresh
from arrowloft.operation.settings import Settings
from arrowloft.operation.start import tell

KEY = fresh("club")


def told(caplog: pytest.LogCaptureFixture, settings: Settings) -> list[tuple[str, str]]:
    """Level and message of each record."""
    caplog.clear()
    caplog.set_level(logging.INFO)
    tell(settings, 3, key_lists(settings))
    return [(one.levelname, one.message) for one in caplog.records]


def test_the_settings_in_force_are_one_line_without_secrets(
    caplog: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    (tmp_path / "keys").write_text(fresh("guest").line)
    settings = Settings(
        bind="::",
        port=9,
        keys=KEY.line,
        keys_file=tmp_path / "keys",
        origins=("https://app.example",),
        proxies=1,
        metrics_port=9101,
        limits=Limits(cells=70),
    )
    ((level, line),) = told(caplog, settings)
    assert level == "INFO"
    for part in ("bind=:: port=9 workers=3", "keys=2", "origins=https://app.example", "proxies=1"):
        assert part in line
    assert "metrics=127.0.0.1 port 9101" in line
    assert line.endswith("limit_cells=70") and line.count("limit_") == 1
    assert KEY.line.split(":")[1] not in line and "club" not in line


@pytest.mark.parametrize(
    ("bind", "proxies", "keys", "warned"),
    [
        ("127.0.0.1", 0, "", False),
        ("::1", 0, "", False),
        ("0.0.0.0", 0, "", True),
        ("192.0.2.1", 0, "", True),
        ("0.0.0.0", 0, KEY.line, False),
        # Whoever reaches the proxy reaches the service.
        ("127.0.0.1", 1, "", True),
        ("127.0.0.1", 1, KEY.line, False),
    ],
    # By place: the key is new each time, and all processes must know the same tests.
    ids=range(7),
)
def test_a_service_that_is_open_to_others_is_warned_of(
    caplog: pytest.LogCaptureFixture, bind: str, proxies: int, keys: str, warned: bool
) -> None:
    (_, line), *more = told(caplog, Settings(bind=bind, proxies=proxies, keys=keys))
    assert ("everyone may ask" in line) == (keys == "")
    assert [level for level, _ in more] == ["WARNING"] * warned


def test_a_served_instance_tells_it_once(tmp_path: Path) -> None:
    service = start(tmp_path / "log", settings={"ARROWLOFT_WORKERS": "2"})
    try:
        wait_until_served(service)
    finally:
        service.end()
    records = [json.loads(line) for line in service.log.read_text().splitlines()]
    (line,) = (one["message"] for one in records if one["message"].startswith("settings: "))
    assert "workers=2 " in line and "keys=none" in line
