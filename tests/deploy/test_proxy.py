"""nginx in front of instances: what passes, how often, how much at once, and what is lost."""

import gzip
import json
import socket
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import pytest
from load_client import Ask, run
from processes import wait_until
from proxied import COMMON, Front, proxy
from stub_instances import Answer, Asked, Stub, stub
from wire import Reply, exchange, message

RATES = """
limit_req_zone $binary_remote_addr zone=address:1m rate=1r/m;
limit_req_zone $given_key zone=key:1m rate=1r/m;
"""


def get(front: Front, path: str = "/v1/x", **headers: str) -> Reply:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return exchange(front.port, message("GET", path, headers=named))


def seen(instance: Stub) -> dict[str, str]:
    """Headers of the last request as the instance saw them."""
    return instance.asked[-1].headers


def test_what_the_service_reads_passes_and_nothing_else(tmp_path: Path) -> None:
    passes = {
        "Accept": "text/csv",
        "Authorization": "Bearer abc",
        "If-None-Match": '"a"',
        "Origin": "https://app.example",
        "traceparent": "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
        "Access-Control-Request-Method": "QUERY",
    }
    others = {
        "Cookie": "a=b",
        "Script-Name": "/x",
        "X-Forwarded-Host": "evil",
        "Forwarded": "for=x",
    }
    with stub() as one, proxy(tmp_path / "nginx", [one.port]) as front:
        exchange(front.port, message("QUERY", "/v1/x?a=%20b", b"{}", headers=passes | others))
        asked = one.asked[-1]
        assert (asked.method, asked.path, asked.body) == ("QUERY", "/v1/x?a=%20b", b"{}")
        assert {name: asked.headers.get(name.lower()) for name in passes} == passes
        assert not {name.lower() for name in others} & set(asked.headers)


def test_nobody_says_of_himself_where_he_comes_from(tmp_path: Path) -> None:
    with stub() as one, proxy(tmp_path / "nginx", [one.port]) as front:
        get(front, X_Forwarded_For="1.2.3.4", X_Forwarded_Proto="https", X_Real_IP="1.2.3.4")
        assert seen(one)["x-forwarded-for"] == "127.0.0.1"
        assert seen(one)["x-forwarded-proto"] == "http"
        assert "x-real-ip" not in seen(one)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("0123-abc.DEF_9", True),
        ("a", True),
        ("a" * 128, True),
        ("a" * 129, False),
        ('a"b,{}c d', False),
        ("", False),
    ],
)
def test_a_well_formed_request_id_is_kept(tmp_path: Path, given: str, kept: bool) -> None:
    with stub() as one, proxy(tmp_path / "nginx", [one.port]) as front:
        reply = get(front, X_Request_Id=given)
        assert (reply.header("X-Request-Id") == given) is kept
        assert seen(one)["x-request-id"] == reply.header("X-Request-Id")
        assert front.requests(least=1)[-1]["request_id"] == reply.header("X-Request-Id")


def test_the_log_holds_neither_query_nor_body_nor_key(tmp_path: Path) -> None:
    with stub() as one, proxy(tmp_path / "nginx", [one.port]) as front:
        headers = {"Authorization": "Bearer secret-key"}
        exchange(front.port, message("POST", "/v1/x?secret=1", b'{"secret":1}', headers=headers))
        entry = front.requests(least=1)[-1]
    assert "secret" not in json.dumps(entry)
    assert (entry["method"], entry["path"], entry["status"]) == ("POST", "/v1/x", 200)


def test_rates_are_exact_over_all_workers(tmp_path: Path) -> None:
    bursts = "limit_req zone=address burst=29 nodelay;"
    with (
        stub() as one,
        proxy(tmp_path / "nginx", [one.port], rates=RATES, bursts=bursts) as front,
        ThreadPoolExecutor(8) as pool,
    ):
        replies = list(pool.map(lambda _: get(front), range(60)))
    assert Counter(reply.status for reply in replies) == {200: 30, 429: 30}
    refused = next(reply for reply in replies if reply.status == 429)
    assert json.loads(refused.body)["type"] == "/problems/too-many-requests"
    assert refused.header("Retry-After") == "1"


def test_each_key_has_a_rate_of_its_own(tmp_path: Path) -> None:
    bursts = "limit_req zone=key burst=4 nodelay;"
    with stub() as one, proxy(tmp_path / "nginx", [one.port], rates=RATES, bursts=bursts) as front:
        for key in ("a", "b"):
            statuses = [get(front, Authorization=f"Bearer {key}").status for _ in range(6)]
            assert statuses == [200] * 5 + [429]
        assert [get(front).status for _ in range(8)] == [200] * 8


@pytest.mark.parametrize("spelt", ["bEaRer a", "Bearer    a", "bearer \t a", " BEARER a \t"])
def test_a_key_is_the_same_however_it_is_spelt(tmp_path: Path, spelt: str) -> None:
    bursts = "limit_req zone=key burst=1 nodelay;"
    with stub() as one, proxy(tmp_path / "nginx", [one.port], rates=RATES, bursts=bursts) as front:
        assert [get(front, Authorization="Bearer a").status for _ in range(2)] == [200] * 2
        assert get(front, Authorization=spelt).status == 429
        assert get(front, Authorization="Bearer A").status == 200
        assert [get(front, Authorization="Basic a").status for _ in range(4)] == [200] * 4


def test_the_deployed_rate_of_keys_is_by_the_key_alone() -> None:
    assert "limit_req_zone $given_key zone=key:" in (COMMON / "rates.conf").read_text()


def test_an_address_that_fills_what_it_may_have_under_way_is_told_of_health(
    tmp_path: Path,
) -> None:
    slow = b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 9\r\n\r\n{"
    with stub() as one, proxy(tmp_path / "nginx", [one.port]) as front, ExitStack() as lines:
        for _ in range(60):
            line = socket.create_connection(("127.0.0.1", front.port), timeout=10.0)
            lines.enter_context(line).sendall(slow)
        end = time.monotonic() + 10.0
        while (refused := get(front)).status == 200 and time.monotonic() < end:
            pass
        assert refused.status == 429
        for path in ("/healthz", "/readyz"):
            assert get(front, path).status == 200


@pytest.mark.parametrize(("path", "most"), [("/v1/x", 3), ("/kiosk/x.js", 24)])
def test_computations_of_an_address_are_bounded_and_a_pages_files_are_not(
    tmp_path: Path, path: str, most: int
) -> None:
    """HTTP/2 asks for all files of a page at once, and each request counts."""
    free = threading.Event()

    def answer(_: Asked) -> Answer:
        free.wait(20.0)
        return Answer()

    with (
        stub(answer) as one,
        proxy(tmp_path / "nginx", [one.port]) as front,
        ThreadPoolExecutor(24) as pool,
    ):
        try:
            waiting = [pool.submit(get, front, path) for _ in range(24)]
            assert wait_until(
                lambda: len(one.asked) + sum(future.done() for future in waiting) == 24, 20.0
            )
        finally:
            free.set()
        statuses = Counter(future.result().status for future in waiting)
    assert statuses == Counter([200] * most + [429] * (24 - most))


def test_who_hangs_up_has_a_computation_under_way_all_the_same(tmp_path: Path) -> None:
    """The worker goes on, as it does not look at its client."""
    free = threading.Event()

    def answer(_: Asked) -> Answer:
        free.wait(20.0)
        return Answer()

    asks = message("POST", "/v1/x", b"{}")
    with stub(answer) as one, proxy(tmp_path / "nginx", [one.port]) as front:
        try:
            for number in range(1, 4):
                with socket.create_connection(("127.0.0.1", front.port), timeout=10.0) as line:
                    line.sendall(asks)
                    assert wait_until(lambda least=number: len(one.asked) == least, 20.0)
            assert [exchange(front.port, asks).status for _ in range(3)] == [429] * 3
        finally:
            free.set()
        assert wait_until(lambda: exchange(front.port, asks).status == 200, 20.0)


@pytest.mark.parametrize(
    ("addresses", "one_rate"),
    [
        (("2001:db8::1:2:3:4", "2001:db8::5", "2001:db8:0:0:ffff::"), True),
        (("2001:db8:1:2::1", "2001:db8:1:2:3:4:5:6"), True),
        (("2001:db8::1", "2001:db8:0:1::1", "2001:db8:1::1"), False),
        (("192.0.2.1", "192.0.2.2", "::ffff:192.0.2.3", "::ffff:192.0.2.4", "::1"), False),
        (("192.0.2.1", "::ffff:192.0.2.1"), True),
    ],
)
def test_half_an_address_of_ipv6_has_one_rate_however_it_is_spelt(
    tmp_path: Path, addresses: tuple[str, ...], one_rate: bool
) -> None:
    rates = "limit_req_zone $counted_address zone=address:1m rate=1r/m;"
    trust = "set_real_ip_from 127.0.0.1; real_ip_header X-Forwarded-For;"
    bursts = "limit_req zone=address;"
    with (
        stub() as one,
        proxy(tmp_path / "nginx", [one.port], rates=rates, bursts=bursts, http=trust) as front,
    ):
        statuses = [get(front, X_Forwarded_For=address).status for address in addresses]
    assert statuses == [200] + [429 if one_rate else 200] * (len(addresses) - 1)


@pytest.mark.parametrize("given", ["", "gzip"])
def test_a_pages_files_are_asked_for_compressed_for_whoever_wants_them(
    tmp_path: Path, given: str
) -> None:
    """A slow reader of the largest would overflow the buffers else; each gets what it takes."""
    text = b"let a = 1;\n" * 100_000

    def answer(_: Asked) -> Answer:
        headers = {"Content-Type": "text/javascript", "Content-Encoding": "gzip", "ETag": '"a"'}
        return Answer(headers=headers, body=gzip.compress(text))

    with stub(answer) as one, proxy(tmp_path / "nginx", [one.port]) as front:
        reply = get(front, "/docs/x.js", Accept_Encoding=given)
        assert seen(one)["accept-encoding"] == "gzip"
        get(front, "/v1/x", Accept_Encoding=given)
        assert seen(one).get("accept-encoding", "") == given
    coding = reply.header("Content-Encoding") or ""
    assert coding == given
    assert (gzip.decompress(reply.body) if coding else reply.body) == text


def test_a_flood_of_probes_is_bounded_by_address(tmp_path: Path) -> None:
    asks = [Ask(message=message("GET", "/readyz"))]
    with stub() as one, proxy(tmp_path / "nginx", [one.port]) as front:
        flood = run(front.port, asks, clients=4, count=200, source="127.0.0.2")
        other = run(front.port, asks, clients=1, count=20, source="127.0.0.3")
        here = run(front.port, asks, clients=4, count=200)
    assert 100 < flood.statuses[200] < 103 + 20 * flood.seconds
    assert flood.statuses[200] + flood.statuses[429] == 200
    assert other.statuses == {200: 20} and here.statuses == {200: 200}


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_no_rate_keeps_anyone_from_asking_how_it_is(tmp_path: Path, path: str) -> None:
    bursts = "limit_req zone=address burst=1 nodelay;"
    with stub() as one, proxy(tmp_path / "nginx", [one.port], rates=RATES, bursts=bursts) as front:
        assert [get(front).status for _ in range(3)] == [200, 200, 429]
        assert [get(front, path).status for _ in range(4)] == [200] * 4


def test_the_deployed_rates_let_a_page_load(tmp_path: Path) -> None:
    with stub() as one, proxy(tmp_path / "nginx", [one.port]) as front:
        assert {get(front).status for _ in range(60)} == {200}


def test_a_full_service_says_so_at_once(tmp_path: Path) -> None:
    free = threading.Event()

    def answer(asked: Asked) -> Answer:
        if asked.path == "/v1/x":
            free.wait(20.0)
        return Answer(headers={"X-Seen": asked.path})

    with (
        stub(answer) as one,
        stub(answer) as two,
        proxy(tmp_path / "nginx", [one.port, two.port], rates="", most=2) as front,
        ThreadPoolExecutor(4) as pool,
    ):
        try:
            waiting = [pool.submit(get, front) for _ in range(4)]
            end = time.monotonic() + 10.0
            while len(one.asked) + len(two.asked) < 4 and time.monotonic() < end:
                time.sleep(0.01)
            reply = get(front)
            probes = [get(front, path) for path in ("/healthz", "/readyz") for _ in range(4)]
            assert not any(future.done() for future in waiting)
        finally:
            free.set()
        assert {future.result().status for future in waiting} == {200}
        assert get(front).status == 200
    # Whoever asks how they are is told by the instances themselves.
    assert {(probe.status, probe.header("X-Seen")) for probe in probes} == {
        (200, "/healthz"),
        (200, "/readyz"),
    }
    assert reply.status == 503
    assert json.loads(reply.body)["type"] == "/problems/overloaded"
    assert reply.header("Retry-After") == "1"


@pytest.mark.parametrize("method", ["GET", "POST", "QUERY"])
def test_what_an_instance_loses_another_answers(tmp_path: Path, method: str) -> None:
    with (
        stub(lambda _: None) as broken,
        stub() as sound,
        proxy(tmp_path / "nginx", [broken.port, sound.port], rates="") as front,
    ):
        body = None if method == "GET" else b"{}"
        replies = [exchange(front.port, message(method, "/v1/x", body)) for _ in range(20)]
        assert {reply.status for reply in replies} == {200}
        assert broken.asked, "it was never tried"


def test_a_request_that_fails_everywhere_is_tried_twice_and_stops_no_other(tmp_path: Path) -> None:
    def answer(asked: Asked) -> Answer | None:
        return None if asked.path == "/crash" else Answer()

    with (
        stub(answer) as one,
        stub(answer) as two,
        stub(answer) as three,
        proxy(tmp_path / "nginx", [one.port, two.port, three.port], rates="") as front,
    ):
        assert get(front, "/crash").status == 502
        assert len(one.asked) + len(two.asked) + len(three.asked) == 2
        assert {get(front).status for _ in range(10)} == {200}


def test_long_replies_are_compressed_with_a_weak_tag(tmp_path: Path) -> None:
    text = b'{"a": "' + b"b" * 5000 + b'"}'
    with (
        stub(lambda _: Answer(headers={"ETag": '"abc"'}, body=text)) as one,
        proxy(tmp_path / "nginx", [one.port]) as front,
    ):
        plain, packed = get(front), get(front, Accept_Encoding="gzip")
    assert (plain.body, plain.header("ETag")) == (text, '"abc"')
    assert (gzip.decompress(packed.body), packed.header("ETag")) == (text, 'W/"abc"')
    assert packed.header("Vary") == "Accept-Encoding"


def test_a_reply_in_clear_text_promises_no_tls(tmp_path: Path) -> None:
    with stub() as one, proxy(tmp_path / "nginx", [one.port]) as front:
        assert get(front).header("Strict-Transport-Security") is None
