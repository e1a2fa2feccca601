"""What nginx answers itself: a problem in the service's words, never a page."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from proxied import COMMON, Front, proxy
from strangers import free_port
from stub_instances import Answer, Asked, stub
from wire import Reply, exchange, message

from arrowloft.api.problems import KINDS
from arrowloft.operation.write_problems import SAID, configuration

CLOSE = b"Host: localhost\r\nConnection: close\r\n"
POST = b"POST /v1/mark-table HTTP/1.1\r\n" + CLOSE


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Front]:
    with stub() as one, proxy(tmp_path_factory.mktemp("nginx"), [one.port], rates="") as running:
        yield running


def problem(reply: Reply) -> str:
    """The code of a reply that is a problem in every respect."""
    assert reply.header("Content-Type") == "application/problem+json"
    assert reply.header("Cache-Control") == "no-store"
    assert reply.header("X-Content-Type-Options") == "nosniff"
    assert re.fullmatch("[0-9a-f]{32}", reply.header("X-Request-Id") or "")
    assert reply.header("Server") == "nginx"
    body = json.loads(reply.body)
    code = str(body["type"]).removeprefix("/problems/")
    kind = KINDS[code]
    assert (body["status"], body["title"]) == (reply.status, kind.title)
    assert (reply.status, body["detail"]) == (kind.status, kind.advice)
    return code


def test_the_file_that_is_kept_is_what_would_be_written() -> None:
    assert (COMMON / "problems.conf").read_text(encoding="utf-8") == configuration()


def test_each_problem_is_said_once() -> None:
    statuses = [status for said in SAID for status in said.statuses]
    assert len(set(statuses)) == len(statuses)


def line(target: bytes, headers: bytes = b"", method: bytes = b"GET") -> bytes:
    return method + b" " + target + b" HTTP/1.1\r\n" + CLOSE + headers + b"\r\n"


REFUSED = {
    "not HTTP": (b"\x16\x03\x01\x02\x00\x01\x00\x01\r\n\r\n", "bad-request"),
    "words": (b"hello world\r\n\r\n", "bad-request"),
    "version": (b"GET / HTTP/9.9\r\n" + CLOSE + b"\r\n", "bad-request"),
    "no host": (b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n", "bad-request"),
    "two in a host": (b"GET / HTTP/1.1\r\nHost: a b\r\nConnection: close\r\n\r\n", "bad-request"),
    "small method": (line(b"/", method=b"get"), "bad-request"),
    "long method": (line(b"/", method=b"A" * 300), "method-not-allowed"),
    "TRACE": (line(b"/", method=b"TRACE"), "method-not-allowed"),
    "CONNECT": (line(b"a:80", method=b"CONNECT"), "bad-request"),
    "above the root": (line(b"/../../etc/passwd"), "bad-request"),
    "zero in a path": (line(b"/a%00b"), "bad-request"),
    "no percent code": (line(b"/a%zz"), "bad-request"),
    "byte in a path": (line(b"/a\xff"), "bad-request"),
    "control in a path": (line(b"/a\x01"), "bad-request"),
    "path": (line(b"/" + b"a" * 2000), "target-too-long"),
    "query": (line(b"/?" + b"a" * 3000), "target-too-long"),
    "longer path": (line(b"/" + b"a" * 20_000), "target-too-long"),
    "header": (line(b"/", b"X: " + b"a" * 5000 + b"\r\n"), "headers-too-large"),
    "many headers": (line(b"/", b"a: b\r\n" * 5000), "headers-too-large"),
    "control in a header": (line(b"/", b"Accept: a\x01\r\n"), "bad-request"),
    "zero in a header": (line(b"/", b"Accept: a\x00\r\n"), "bad-request"),
    "return in a header": (line(b"/", b"Accept: a\rb\r\n"), "bad-request"),
    "folded header": (line(b"/", b"Accept: a\r\n b\r\n"), "bad-request"),
    "no chunk": (POST + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n", "bad-request"),
    "coding": (POST + b"Transfer-Encoding: gzip\r\n\r\n", "bad-request"),
    "length and chunks": (
        POST + b"Content-Length: 1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        "bad-request",
    ),
    "two lengths": (POST + b"Content-Length: 1\r\nContent-Length: 2\r\n\r\na", "bad-request"),
    "100 MB": (POST + b"Content-Length: 100000000\r\n\r\n", "too-large"),
    "metrics": (line(b"/metrics"), "not-found"),
    "metrics written otherwise": (line(b"//%6detrics/"), "not-found"),
    "the problems themselves": (line(b"/.problems/defect"), "not-found"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_refused_is_a_problem(front: Front, name: str) -> None:
    sent, code = REFUSED[name]
    assert problem(exchange(front.port, sent)) == code


def test_nothing_of_what_is_refused_reaches_an_instance(front: Front) -> None:
    reached = [entry for entry in front.requests() if entry["instance"]]
    assert reached == [entry for entry in reached if entry["status"] == 200]


ORIGIN = "https://app.example"
ALLOWED = f"map $http_origin $allowed_origin {{ {ORIGIN} $http_origin; }}"


@pytest.mark.parametrize(
    ("http", "origin", "allowed"),
    [
        (ALLOWED, ORIGIN, ORIGIN),
        (ALLOWED, "https://other.example", None),
        (ALLOWED, f"{ORIGIN}.other.example", None),
        ("", ORIGIN, None),
    ],
)
def test_pages_of_an_origin_that_is_allowed_may_read_it(
    tmp_path: Path, http: str, origin: str, allowed: str | None
) -> None:
    with stub() as one, proxy(tmp_path / "nginx", [one.port], rates="", http=http) as front:
        for sent in (
            line(b"/", b"Origin: " + origin.encode() + b"\r\nX: " + b"a" * 5000 + b"\r\n"),
            line(b"/metrics", b"Origin: " + origin.encode() + b"\r\n"),
            POST + b"Origin: " + origin.encode() + b"\r\nContent-Length: 100000000\r\n\r\n",
        ):
            reply = exchange(front.port, sent)
            assert reply.status in (404, 413, 431)
            assert reply.header("Access-Control-Allow-Origin") == allowed
            shown = reply.header("Access-Control-Expose-Headers")
            assert shown == ("Retry-After, X-Request-Id" if allowed else None)
        # The service says it of its own.
        passed = exchange(front.port, line(b"/", b"Origin: " + origin.encode() + b"\r\n"))
        assert passed.header("Access-Control-Allow-Origin") is None


def test_a_method_that_no_path_has_is_told_which_there_are(front: Front) -> None:
    assert exchange(front.port, line(b"/", method=b"TRACE")).header("Allow") == (
        "GET, HEAD, OPTIONS, POST, QUERY"
    )


def test_a_body_a_little_too_large_is_for_the_service_to_refuse(front: Front) -> None:
    body = b"a" * (64 * 1024 + 1)
    assert exchange(front.port, message("POST", "/v1/mark-table", body)).status == 200


def test_nobody_there(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("nobody")
    with proxy(folder, [free_port(), free_port()], rates="") as alone:
        reply = exchange(alone.port, message("GET", "/healthz"))
        assert problem(reply) == "unreachable"
        assert reply.header("Retry-After") == "1"
        # Neither is held for failed: it is not called full, however often that happens.
        for path in ("/", "/healthz") * 6:
            assert problem(exchange(alone.port, message("GET", path))) == "unreachable"


def test_an_answer_that_is_an_error_passes_as_it_is(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Neither replaced, nor asked for elsewhere, nor held against the instance."""

    def answer(asked: Asked) -> Answer:
        headers = {"Content-Type": "application/problem+json", "Retry-After": "7"}
        return Answer(status=int(asked.path[1:]), headers=headers, body=b'{"own": 1}')

    folder = tmp_path_factory.mktemp("errors")
    with stub(answer) as one, proxy(folder, [one.port], rates="") as front:
        for status in (400, 404, 405, 413, 414, 422, 429, 431, 500, 503, 503):
            reply = exchange(front.port, message("GET", f"/{status}"))
            assert (reply.status, reply.body) == (status, b'{"own": 1}')
            assert reply.header("Retry-After") == "7"
        assert len(one.asked) == 11
