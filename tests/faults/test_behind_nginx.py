"""What `deploy/faults` tries at length, tried briefly: attacks, slow clients, a kill under load.

Nothing is timed here but what would hang without end.
"""

import json
import socket
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest
import strangers
import tools
from attack_cases import cases
from attack_forms import Case
from attacking import attack
from load_client import Ask, Seen, run, start
from processes import free_port
from proxied import Front, Instance, proxy, served
from wire import exchange, message

PATIENCE = 60.0


@dataclass(frozen=True)
class Served:
    """Two instances, of which the first may be killed, and nginx in front of them."""

    one: Instance
    other: Instance
    front: Front


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    tools.needed("nginx")
    folder = tmp_path_factory.mktemp("both")
    settings = {"ARROWLOFT_WORKERS": "2"}
    with (
        served(folder / "a", settings) as one,
        served(folder / "b", settings) as other,
        # All clients are one address here, and ask as often as they can.
        proxy(folder / "nginx", [one.port, other.port], rates="") as front,
    ):
        yield Served(one, other, front)


@pytest.fixture(scope="module")
def asks(both: Served) -> list[Ask]:
    """The demo by POST and by QUERY, with the bytes that it must be answered."""
    sent = [message(method, "/v1/mark-table", strangers.demo_request()) for method in METHODS]
    return [Ask(message=each, body=exchange(both.other.port, each).body) for each in sent]


METHODS = ("POST", "QUERY")


def all_right(seen: Seen) -> bool:
    assert seen.right > 0
    return seen.failures == 0


def carried_out(port: int, proxied: bool) -> dict[str, list[str]]:
    """Attack -> what is not as it must be."""
    found = {case.name: attack(port, case).faults(case, proxied) for case in cases()}
    return {name: faults for name, faults in found.items() if faults}


def test_there_are_many_attacks_each_with_a_name_of_its_own() -> None:
    names = [case.name for case in cases()]
    assert len(set(names)) == len(names) >= 80


def test_attacks_are_refused_by_the_service_itself(both: Served) -> None:
    assert carried_out(both.one.port, proxied=False) == {}


def test_attacks_are_refused_through_nginx_and_others_served(both: Served, asks: list[Ask]) -> None:
    with start(both.front.port, asks, clients=1, rate=5.0, seconds=PATIENCE) as others:
        assert carried_out(both.front.port, proxied=True) == {}
        seen = others.stop()
    assert all_right(seen), seen


def test_an_answer_that_is_not_allowed_is_found(both: Served) -> None:
    sent = message("GET", "/healthz")
    case = Case(name="no attack", parts=(sent,), direct=frozenset({400}), proxied=frozenset({400}))
    assert attack(both.front.port, case).faults(case, True) == ["answered 200, not one of [400]"]


def test_a_hundred_slow_clients_do_no_harm(both: Served, asks: list[Ask]) -> None:
    begin = message("POST", "/v1/mark-table", b" " * 5000)
    with ExitStack() as stack:
        for number in range(100):
            address = ("127.0.0.1", both.front.port)
            line = stack.enter_context(socket.create_connection(address, timeout=10.0))
            line.sendall(begin[:60] if number % 2 else begin[:-1000])
        seen = run(both.front.port, asks, clients=2, count=20, patience=PATIENCE)
    assert all_right(seen), seen


def test_a_body_that_breaks_off_is_refused_not_a_defect(both: Served) -> None:
    head = "POST /v1/mark-table HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    sent = f"{head}Transfer-Encoding: chunked\r\n\r\nnot hex\r\n{{}}\r\n0\r\n\r\n".encode()
    reply = exchange(both.one.port, sent)
    assert reply.status == 400
    assert json.loads(reply.body)["type"] == "/problems/bad-request"


# The last of the module: the instance stays killed.
def test_no_request_is_lost_with_an_instance(both: Served, asks: list[Ask]) -> None:
    with start(both.front.port, asks, clients=8, at_least=100, patience=PATIENCE) as load:
        both.one.kill()
        seen = load.finish()
    assert seen.asked >= 100
    assert all_right(seen), seen


def test_an_instance_whose_port_is_taken_starts_on_another(tmp_path: Path) -> None:
    instance = Instance(tmp_path)
    with socket.create_server(("127.0.0.1", instance.port)) as other:
        try:
            instance.start()
            assert instance.port != other.getsockname()[1]
            assert instance.service.get("/healthz")
        finally:
            instance.end()


def test_a_lost_request_is_seen(tmp_path: Path) -> None:
    """The client itself: nobody listens here."""
    seen = run(free_port(), [Ask(message=message("GET", "/healthz"))], clients=1, count=3)
    assert (seen.asked, seen.failures) == (3, 3)
    assert "ConnectionRefusedError" in str(seen)
