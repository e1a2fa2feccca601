"""nginx's logs: a line of JSON a request whatever was sent, and no query anywhere."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from processes import free_port
from proxied import proxy
from stub_instances import stub
from wire import exchange, message

PARENT = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"


def logged(folder: Path, *sent: bytes) -> list[dict[str, Any]]:
    """What is logged of each request; reading it fails where a line is no JSON."""
    with stub() as one, proxy(folder / "nginx", [one.port], rates="") as front:
        entries = []
        for done, request in enumerate(sent, 1):
            exchange(front.port, request)
            entries = front.requests(least=done)
        # As bytes: what is no UTF-8 is no JSON either.
        (front.folder / "written" / "requests").read_text(encoding="utf-8")
        return entries


def asked(name: str, value: bytes, path: bytes = b"/") -> bytes:
    head = b"GET " + path + b" HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
    return head + name.encode() + b": " + value + b"\r\n\r\n"


def test_numbers_are_numbers_and_times_have_milliseconds(tmp_path: Path) -> None:
    before = datetime.now(UTC) - timedelta(milliseconds=2)
    (entry,) = logged(tmp_path, message("GET", "/"))
    assert (entry["status"], entry["bytes"]) == (200, 2)
    assert isinstance(entry["seconds"], float) and isinstance(entry["instance_status"], str)
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d", entry["time"])
    assert before <= datetime.fromisoformat(entry["time"]) <= datetime.now(UTC)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        (PARENT, True),
        (PARENT.upper(), False),
        (PARENT + "-x", False),
        ("ff" + PARENT[2:], False),
        ("00-" + "0" * 32 + PARENT[35:], False),
        (PARENT[:36] + "0" * 16 + "-01", False),
        ("secret", False),
        ("\xff", False),
    ],
)
def test_a_well_formed_trace_is_logged(tmp_path: Path, given: str, kept: bool) -> None:
    (entry,) = logged(tmp_path, asked("traceparent", given.encode("latin-1")))
    assert entry["traceparent"] == (given if kept else "")


def test_bytes_that_are_no_text_make_no_line_unreadable(tmp_path: Path) -> None:
    sound, agent, path, version = logged(
        tmp_path,
        asked("User-Agent", b'a "browser" \\ 1.0'),
        asked("User-Agent", b"a\xff\xfe"),
        asked("User-Agent", b"b", path=b"/a\xff?secret"),
        b"GET / HTTP/9.9\r\n\r\n",
    )
    assert sound["agent"] == 'a "browser" \\ 1.0'
    assert (agent["agent"], agent["status"]) == ("", 200)
    assert (path["path"], path["agent"], path["status"]) == ("/a", "b", 400)
    assert version["status"] == 400


def test_what_is_refused_or_fails_puts_no_query_into_the_error_log(tmp_path: Path) -> None:
    long = message("POST", "/v1/x?secret=1", headers={"Content-Length": "100000000"})
    with (
        stub(lambda _: None) as broken,
        proxy(tmp_path / "nginx", [broken.port, free_port()], rates="") as front,
    ):
        assert exchange(front.port, long).status == 413
        assert exchange(front.port, message("GET", "/v1/x?secret=1")).status == 502
        assert len(front.requests(least=2)) == 2
        assert "secret" not in front.errors()
