"""Requests as those who mean harm write them, byte by byte, and what each may be answered."""

import gzip
from collections.abc import Iterable
from functools import cache

from attack_forms import JSON_TYPE, SMUGGLED, TARGET, Case, attempt, demo_body, get, post, sized
from attack_framing import framing

_BIG = 100 * 1024 * 1024


@cache
def cases() -> tuple[Case, ...]:
    """All of them, by subject."""
    return (*framing(), *_heads(), *_lines(), *_paths(), *_bodies(), *_rest())


def _heads() -> list[Case]:
    large = (431, 400)
    host = "Host: x\r\n"
    return [
        attempt(
            "bare LF line ends", b"GET /healthz HTTP/1.1\nHost: x\n\n", 400, 0, proxied=(200, 400)
        ),
        attempt("a bare CR in a header", get(f"{host}X: a\rb\r\n"), 400, proxied=(200, 400)),
        attempt("NUL in a header", get(f"{host}X: a\x00b\r\n"), 400),
        attempt("NUL in the host", get("Host: x\x00y\r\n"), 400),
        attempt("a folded header", get(f"{host}X: a\r\n b\r\n"), 400, proxied=(200, 400)),
        attempt("a first header that is folded", get(f" X: a\r\n{host}"), 400),
        attempt("a space in a header's name", get(f"{host}X Y: a\r\n"), 400, proxied=(200, 400)),
        attempt("a header without a name", get(f"{host}: a\r\n"), 400, proxied=(200, 400)),
        attempt("a header without a colon", get(f"{host}abc\r\n"), 400, proxied=(200, 400)),
        attempt(
            "a header's name beyond ASCII", get(f"{host}X\u00e9: a\r\n"), 400, proxied=(200, 400)
        ),
        attempt("a header's value beyond ASCII", get(f"{host}X: \u00e9\r\n"), 200),
        attempt(
            "a control character in Accept",
            get(f"{host}Accept: a\x01b\r\n"),
            400,
            200,
            406,
            proxied=(400,),
        ),
        attempt(
            "1,000 headers",
            get(host + "".join(f"X-{i}: y\r\n" for i in range(1000))),
            *large,
            proxied=(431, 400),
        ),
        attempt("a header of 5 kB", get(f"{host}X: {'a' * 5000}\r\n"), *large, proxied=(431,)),
        attempt("a header of 64 kB", get(f"{host}X: {'a' * 65536}\r\n"), *large, proxied=(431,)),
        attempt("a header of 1 MB", get(f"{host}X: {'a' * 2**20}\r\n"), *large, 0, proxied=(431,)),
        attempt(
            "a header's name of 64 kB", get(f"{host}{'a' * 65536}: x\r\n"), *large, proxied=(431,)
        ),
        attempt(
            "100 cookies of 1 kB",
            get(host + f"Cookie: {'c' * 1000}\r\n" * 100),
            *large,
            proxied=(431,),
        ),
        attempt("1 MB without a line end", b"A" * 2**20, 400, 414, 0, closes=True),
        attempt("no host", get(""), 200, proxied=(400,)),
        attempt("two hosts", get(f"{host}Host: y\r\n"), 200, 400, proxied=(400,)),
        attempt("a host that is none", get("Host: a b/../c\r\n"), 200, 400, proxied=(400,)),
        attempt(
            "a host with a shell in it",
            get("Host: () { :; }; echo x\r\n"),
            200,
            400,
            proxied=(400,),
        ),
        attempt("Range", get(f"{host}Range: bytes=0-1,2-3,0-\r\n"), 200, 206, 416),
        attempt("Accept of 3,000 entries", get(f"{host}Accept: {'a/b,' * 900}*/*\r\n"), 200),
        attempt("Accept with an odd quality", get(f"{host}Accept: */*;q=nan\r\n"), 200, 406),
        attempt(
            "Accept-Encoding of all sorts",
            get(f"{host}Accept-Encoding: gzip;q=1e9,br,,;;=\r\n"),
            200,
        ),
        attempt("If-None-Match of nonsense", get(f'{host}If-None-Match: "a, W/*,,\r\n'), 200, 304),
        attempt(
            "Authorization of nonsense", get(f"{host}Authorization: \u00ff Bearer\r\n"), 200, 401
        ),
        attempt("traceparent of nonsense", get(f"{host}traceparent: zz-{'0' * 900}\r\n"), 200),
        attempt("forwarded for a shell", get(f"{host}X-Forwarded-For: $(id), ::1, a b\r\n"), 200),
        attempt("an overridden method", get(f"{host}X-HTTP-Method-Override: DELETE\r\n"), 200),
        attempt(
            "Connection names other headers", get(f"{host}Connection: close, Host\r\n"), 200, 400
        ),
    ]


def _lines() -> list[Case]:
    def line(text: str, *allowed: int, proxied: Iterable[int] = (), name: str = "") -> Case:
        sent = f"{text}\r\nHost: x\r\n\r\n".encode("latin-1")
        return attempt(f"line {name or repr(text)}", sent, *allowed, proxied=proxied)

    return [
        attempt(
            "HTTP/0.9", b"GET /healthz\r\n", 400, 0, proxied=(400, 404, 414, 0, 200), closes=True
        ),
        line("GET /healthz HTTP/1.0", 200),
        line("GET /healthz HTTP/1.2", 400, 505, 200),
        line("GET /healthz HTTP/2.0", 400, 505),
        line("GET /healthz HTTP/3.0", 400, 505),
        line("GET /healthz HTTP/1.1x", 400),
        line("GET /healthz HTTP/11", 400),
        line("GET /healthz http/1.1", 400),
        line("GET /healthz HTTQ/1.1", 400),
        line("GET  /healthz HTTP/1.1", 400, proxied=(200, 400)),
        line("GET\t/healthz\tHTTP/1.1", 400, 405),
        line("GET /health z HTTP/1.1", 400, 404),
        line("get /healthz HTTP/1.1", 400, 405),
        line("G<T /healthz HTTP/1.1", 400, 405),
        line(f"{'A' * 1000} /healthz HTTP/1.1", 400, 405, name="with a method of 1,000"),
        line("TRACE /healthz HTTP/1.1", 405),
        line("CONNECT x:443 HTTP/1.1", 404, 405, 400, proxied=(400, 405)),
        line("PROPFIND /healthz HTTP/1.1", 405),
        line("DELETE /v1/mark-table HTTP/1.1", 405),
        line("OPTIONS * HTTP/1.1", 200, 404, 400),
        line("PUT /healthz HTTP/1.1", 405),
        line(f"GET /{'a' * 70_000} HTTP/1.1", 414, 400, name="of 70 kB"),
        line(f"GET /healthz?{'a' * 3000} HTTP/1.1", 414, 400, name="with a query of 3 kB"),
        attempt("the preface of HTTP/2", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", 400, 505, 405),
        attempt(
            "a TLS hello",
            b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x11" * 512,
            400,
            0,
            closes=True,
        ),
        attempt("nothing but line ends", b"\r\n" * 500, 400, 0, closes=True),
        attempt("nothing", b"", 0, 400, closes=True),
        attempt("random bytes", bytes(range(128, 256)) * 8, 400, 0, closes=True),
        attempt("half a head", b"GET /healthz HTTP/1.1\r\nHos", 400, 0, closes=True),
    ]


def _paths() -> list[Case]:
    here = (200,)
    gone = (404, 400)
    found = []
    for path, direct, proxied in (
        ("http://elsewhere.example/healthz", (200, 404), (200, 404)),
        ("http://x:y@elsewhere/healthz", (200, 404, 400), (200, 404, 400)),
        ("healthz", (404, 400), (400,)),
        ("//healthz", (404, 200), (404, 200)),
        ("/v1//mark-table", gone, gone),
        ("/./healthz", gone, gone),
        ("/x/../healthz", gone, gone),
        ("/../../etc/passwd", gone, gone),
        ("/%2e%2e/%2e%2e/etc/passwd", gone, gone),
        ("/..%2f..%2fetc/passwd", gone, gone),
        ("/v1/models/drag/..%2f..%2fetc%2fpasswd", gone, gone),
        ("/v1/models/drag/%00", gone, gone),
        ("/healthz%00", gone, gone),
        ("/healthz%", gone, gone),
        ("/healthz%zz", gone, gone),
        ("/\\..\\healthz", gone, gone),
        ("/healthz;a=b", gone, gone),
        ("/healthz/", gone, gone),
        ("/healthz?a=%ff%00", here, here),
        ("/healthz#part", (200, 400), (200, 400)),
        ("/%c0%ae%c0%ae/", gone, gone),
        ("/v1/models/drag/%ed%a0%80", gone, gone),
        ("/problems/%0d%0aSet-Cookie:%20a=b", gone, gone),
        ("/problems/\u00e9\u00ff", gone, gone),
        ("/problems/{{7*7}}", gone, gone),
        ("/problems/" + "a" * 1500, gone, gone),
        ("/metrics", gone, gone),
        ("/.git/config", gone, gone),
        ("/static/../../etc/passwd", gone, gone),
    ):
        found.append(
            attempt(f"path {path[:40]!r}", get("Host: x\r\n", path), *direct, proxied=proxied)
        )
    return found


def _endless() -> Iterable[bytes]:
    """A body of 100 MB, a part at a time."""
    yield post(f"Content-Length: {_BIG}\r\n")
    for _ in range(_BIG // 2**20):
        yield b" " * 2**20


class _Large:
    """Parts that are made anew each time they are sent."""

    def __iter__(self) -> Iterable[bytes]:  # type: ignore[override]
        return iter(_endless())


def _bodies() -> list[Case]:
    found = []
    for name, body in (
        ("20,000 lists deep", b'{"slope":' + b"[" * 20_000 + b"]" * 20_000 + b"}"),
        ("8,000 objects deep", b'{"a":' * 8000 + b"1" + b"}" * 8000),
        ("60,000 open lists", b"[" * 60_000),
        ("a number of 5,000 digits", b'{"slope":' + b"9" * 5000 + b"}"),
        ("NaN", b'{"slope":NaN}'),
        ("Infinity", b'{"slope":Infinity}'),
        ("-Infinity", b'{"slope":-Infinity}'),
        ("nan", b'{"slope":nan}'),
        ("a member twice", b'{"bow":{},"bow":{}}'),
        ("a member twice, escaped", b'{"bow":{},"b\\u006fw":{}}'),
        ("an overlong slash", b'{"slope":"\xc0\xaf"}'),
        ("a byte-order mark", b"\xef\xbb\xbf{}"),
        ("UTF-16", '{"slope":1}'.encode("utf-16")),
        ("UTF-32", '{"slope":1}'.encode("utf-32")),
        ("half a pair, escaped", b'{"slope":"\\ud800"}'),
        ("half a pair, raw", b'{"slope":"\xed\xa0\x80"}'),
        ("a lone continuation byte", b'{"slope":"\x80"}'),
        ("beyond Unicode", b'{"slope":"\xf4\x90\x80\x80"}'),
        ("NUL bytes", b"\x00" * 100),
        ("a raw line end in a text", b'{"slope":"a\nb"}'),
        ("cut JSON", b'{"slope":"1 deg"'),
        ("two values", b"{}{}"),
        ("a comment", b"{/*a*/}"),
        ("a list", b"[]"),
        ("a text", b'"a"'),
        ("60,000 spaces", b" " * 60_000),
        ("60,000 backslashes", b'{"a":"' + b"\\" * 60_000),
        ("no bytes", b""),
    ):
        found.append(attempt(f"body: {name}", sized(body), 400))
    for name, body in (
        ("1e999", b'{"slope":1e999}'),
        ("1e-999999999", b'{"slope":1e-999999999}'),
        ("a quantity of 1e308", b'{"slope":"1e308 deg"}'),
        ("a unit that computes", b'{"slope":"9**9**9**9 deg"}'),
        ("6,000 unknown members", b"{" + b",".join(b'"%d":1' % i for i in range(6000)) + b"}"),
        ("a name of 60,000", b'{"' + b"a" * 60_000 + b'":1}'),
        ("escapes in names", b'{"' + b"\\u0000" * 5000 + b'":1}'),
        ("names of Python", b'{"__class__":{"__init__":1},"__proto__":1}'),
        ("deep where it is allowed", b'{"a":' * 30 + b"1" + b"}" * 30),
    ):
        found.append(attempt(f"body: {name}", sized(body), 422))
    body = demo_body()
    found += [
        attempt("body: 64 kB and a byte", sized(b" " * 65537), 413),
        attempt("body: 100 MB announced", post(f"Content-Length: {_BIG}\r\n", b" " * 100), 413),
        attempt("body: 100 MB sent", _Large(), 413),
        attempt(
            "body: cut, then silence",
            post("Content-Length: 500\r\n", body[:100]),
            400,
            0,
            closes=True,
        ),
        attempt(
            "body: more than its length",
            sized(body) + b"garbage\r\n\r\n",
            200,
            proxied=(200,),
            most=2,
        ),
        attempt("body: none, no length", post(""), 400),
    ]
    return found


def _rest() -> list[Case]:
    body, size = demo_body(), len(demo_body())
    packed = gzip.compress(b" " * 10_000_000)

    def typed(text: str) -> bytes:
        head = f"POST {TARGET} HTTP/1.1\r\nHost: x\r\n{text}Content-Length: {size}\r\n\r\n"
        return head.encode("latin-1") + body

    found = [
        attempt(f"type {text.strip()!r}", typed(text), 415)
        for text in (
            "",
            "Content-Type: text/plain\r\n",
            "Content-Type: multipart/form-data; boundary=x\r\n",
            "Content-Type: application/x-www-form-urlencoded\r\n",
            "Content-Type: application/json; charset=utf-16\r\n",
            "Content-Type: application/json; charset=utf-7\r\n",
            "Content-Type: application/xml\r\n",
            "Content-Type: \u00ff/\u00ff\r\n",
            f"Content-Type: {'a' * 3000}\r\n",
        )
    ]
    healthy = get("Host: x\r\n")
    expect = f"Expect: 100-continue\r\nContent-Length: {size}\r\n"
    websocket = (
        "Host: x\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
    )
    twice = f"{JSON_TYPE}Content-Type: text/plain\r\n"
    h2c = "Host: x\r\nConnection: Upgrade, HTTP2-Settings\r\nUpgrade: h2c\r\nHTTP2-Settings: AA\r\n"
    found += [
        attempt("a type sent twice", typed(twice), 200, 415, 400),
        attempt("a gzip bomb", sized(packed, "Content-Encoding: gzip\r\n"), 415),
        attempt("an unknown content coding", sized(body, "Content-Encoding: br\r\n"), 415),
        attempt("Expect: 100-continue", post(expect, body), 200),
        attempt("Expect: something else", sized(body, "Expect: tea\r\n"), 200, 417, 400),
        attempt(
            "Expect and 100 MB", post(f"Expect: 100-continue\r\nContent-Length: {_BIG}\r\n"), 413
        ),
        attempt("Upgrade to a web socket", get(websocket), 200, 400),
        attempt("Upgrade to h2c", get(h2c), 200, 400),
        attempt("three requests at once", healthy * 3, 200, most=3),
        attempt("a request and garbage", healthy + b"\x00\x01garbage\r\n\r\n", 200, most=2),
        attempt(
            "GET with a body that is a request",
            get(f"Host: x\r\nContent-Length: {len(SMUGGLED)}\r\n") + SMUGGLED,
            200,
            400,
        ),
        attempt(
            "GET with chunks",
            get("Host: x\r\nTransfer-Encoding: chunked\r\n") + b"0\r\n\r\n",
            200,
            400,
            411,
        ),
        attempt("HEAD", b"HEAD /healthz HTTP/1.1\r\nHost: x\r\n\r\n", 200),
        attempt("QUERY without a body", b"QUERY /v1/mark-table HTTP/1.1\r\nHost: x\r\n\r\n", 415),
        attempt("a PDF of a table that has none", sized(body, "Accept: text/x-none\r\n"), 406),
    ]
    return found
