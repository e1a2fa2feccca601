"""nginx's cache: switched on by two lines, and never at the cost of a right answer."""

import itertools
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from proxied import Front, proxy
from stub_instances import Answer, Asked, Stub, stub
from wire import Reply, exchange, message

TELLING = "error_log stderr warn;"
"""nginx tells when a body goes to a file."""


@contextmanager
def kept(folder: Path, **headers: str) -> Iterator[tuple[Stub, Front]]:
    """An instance that numbers its replies, which may be kept, and a proxy that keeps them."""
    numbers = itertools.count()

    def answer(_: Asked) -> Answer:
        named = {
            "Cache-Control": "public, max-age=60",
            "X-Request-Id": "theirs-theirs",
            "traceresponse": "00-trace",
            **{name.replace("_", "-"): value for name, value in headers.items()},
        }
        return Answer(headers=named, body=b"%d" % next(numbers))

    with (
        stub(answer) as one,
        proxy(folder / "nginx", [one.port], rates="", cache=True, http=TELLING) as front,
    ):
        yield one, front


def post(front: Front, body: bytes = b'{"a":1}', path: str = "/v1/x", **headers: str) -> Reply:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return exchange(front.port, message("POST", path, body, headers=named))


def test_the_same_request_is_answered_from_the_cache(tmp_path: Path) -> None:
    with kept(tmp_path) as (one, front):
        first, second = post(front), post(front)
        assert len(one.asked) == 1
    assert first.body == second.body
    assert first.header("Cache-Status") == "arrowloft; fwd=uri-miss"
    assert second.header("Cache-Status") == "arrowloft; hit"
    assert first.header("X-Request-Id") != second.header("X-Request-Id")
    assert (first.header("traceresponse"), second.header("traceresponse")) == ("00-trace", None)


@pytest.mark.parametrize(
    "other",
    [
        {"body": b'{"a":2}'},
        {"path": "/v1/y"},
        {"path": "/v1/x?a=1"},
        {"Accept": "text/csv"},
        {"Origin": "https://app.example"},
        {"Host": "other.example"},
    ],
    ids=str,
)
def test_another_request_is_not(tmp_path: Path, other: dict[str, str]) -> None:
    with kept(tmp_path) as (one, front):
        post(front)
        post(front, **other)  # type: ignore[arg-type]
        exchange(front.port, message("GET", "/v1/x"))
        assert len(one.asked) == 3


@pytest.mark.parametrize("control", ["private, max-age=60", "no-store", "no-cache"])
def test_what_must_not_be_kept_is_not(tmp_path: Path, control: str) -> None:
    with kept(tmp_path, Cache_Control=control) as (one, front):
        post(front)
        post(front)
        assert len(one.asked) == 2


def test_a_key_meets_no_cache(tmp_path: Path) -> None:
    with kept(tmp_path) as (one, front):
        key = {"Authorization": "Bearer abc"}
        assert post(front, **key).header("Cache-Status") == "arrowloft; fwd=bypass"
        post(front)
        post(front, **key)
        assert len(one.asked) == 3


def test_bodies_that_are_no_part_of_the_key_meet_no_cache(tmp_path: Path) -> None:
    """A body in many small chunks outgrows the buffer, and lies in a file."""
    head = b"POST /v1/x HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
    head += b"Transfer-Encoding: chunked\r\n"
    with kept(tmp_path) as (one, front):
        for byte in (b"a", b"b"):
            body = b"1\r\n" + byte + b"\r\n"
            exchange(front.port, head + b"\r\n" + body * 60_000 + b"0\r\n\r\n")
        assert [asked.body[:1] for asked in one.asked] == [b"a", b"b"]
        assert "buffered to a temporary file" in front.errors()


def test_it_is_emptied_by_deleting_its_files(tmp_path: Path) -> None:
    """As `cache.conf` says, and the units do: nothing kept outlives an update, or new keys."""
    with kept(tmp_path) as (one, front):
        before = [post(front, body) for body in (b"1", b"2")]
        folder = front.folder / "written" / "cache"
        subprocess.run(["find", folder, "-type", "f", "-delete"], check=True, timeout=10)
        after = [post(front, body) for body in (b"1", b"2") * 2]
        assert len(one.asked) == 4
    assert {reply.status for reply in after} == {200}
    assert not {reply.body for reply in before} & {reply.body for reply in after}
    assert [reply.header("Cache-Status") for reply in after[2:]] == ["arrowloft; hit"] * 2


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_how_an_instance_is_is_never_answered_from_it(tmp_path: Path, path: str) -> None:
    with kept(tmp_path) as (one, front):
        for _ in range(3):
            exchange(front.port, message("GET", path))
        assert len(one.asked) == 3


def test_without_the_two_lines_nothing_is_kept(tmp_path: Path) -> None:
    answer = Answer(headers={"Cache-Control": "public, max-age=60"})
    with stub(lambda _: answer) as one, proxy(tmp_path / "nginx", [one.port]) as front:
        assert [post(front).header("Cache-Status") for _ in range(2)] == [None, None]
        assert len(one.asked) == 2
