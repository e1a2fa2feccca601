"""The worst requests found: answered within the work allowed, or refused as too much of it."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import worst_requests as worst
from flask.testing import FlaskClient
from reference_setups import compound
from worst_requests import Worst

from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.core.flight import work
from arrowloft.core.flight.stepping import integrate
from arrowloft.operation.settings import Settings
from arrowloft.plugin import meter
from arrowloft.replay import Replayer


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def asked(client: FlaskClient, one: Worst) -> Any:
    return client.post(one.path, json=one.body, headers={"Accept": one.form})


def named(one: Worst) -> str:
    return f"{one.resource}: {one.name}"


@pytest.fixture
def taken(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """What each request has taken of what it was allowed."""
    found: list[float] = []
    real = work.allowed

    @contextmanager
    def allowed(most: int) -> Iterator[None]:
        with real(most):
            yield
            found.append(most - work.left())

    monkeypatch.setattr(work, "allowed", allowed)
    return found


@pytest.mark.parametrize(
    "one", [one for one in worst.answered() if one.form == worst.JSON], ids=named
)
def test_the_largest_are_answered(client: FlaskClient, one: Worst, taken: list[float]) -> None:
    reply = asked(client, one)
    assert reply.status_code == 200, reply.text
    # All that the laws computed has been charged, and what their calls take.
    assert taken[0] > meter.now().evaluations + work.BATCH > work.BATCH


@pytest.mark.parametrize("one", worst.refused(), ids=named)
def test_what_takes_more_is_refused(client: FlaskClient, one: Worst) -> None:
    reply = asked(client, one)
    assert reply.status_code == 422, reply.text
    problem = reply.get_json()
    assert problem["type"] == "/problems/too-much-work"
    assert f"{Limits.work:,} evaluations" in problem["detail"]
    assert "fewer" in problem["detail"]
    assert problem["errors"] == [{"pointer": "", "detail": problem["detail"]}]
    # What was under way when the bound was met is one batch at most.
    assert meter.now().evaluations < 1.3 * Limits.work


@pytest.fixture(scope="module")
def little() -> FlaskClient:
    """A service that allows little."""
    return create_app(settings=Settings(limits=Limits(work=4000))).test_client()


def test_it_is_refused_at_the_same_count_every_time(little: FlaskClient) -> None:
    one = next(one for one in worst.answered() if one.resource == "wind")
    counts = set()
    for _ in range(2):
        reply = asked(little, one)
        assert reply.status_code == 422
        assert "4,000 evaluations" in reply.get_json()["detail"]
        counts.add(meter.now().evaluations)
    assert len(counts) == 1
    # The next request begins anew.
    assert work.left() == float("inf")
    assert little.get("/v1/models").status_code == 200


def test_a_replay_may_take_long() -> None:
    one = worst.refused()[-1]
    app = Replayer.here().app
    with pytest.MonkeyPatch.context() as patched:
        seen: list[int] = []
        real = work.allowed
        patched.setattr(work, "allowed", lambda most: seen.append(most) or real(10))
        app.test_client().post(one.path, json=one.body)
    assert min(seen) > 1000 * Limits.work


def test_a_batch_counts_beside_its_values() -> None:
    with work.allowed(2 * work.BATCH + 30):
        work.evaluate(10)
        work.evaluate(20)
        for _ in range(2):  # caught in vain
            with pytest.raises(work.TooMuchWork):
                work.spend(1)


def test_each_stage_of_a_stepped_flight_counts() -> None:
    with work.allowed(10**9):
        flown = integrate(compound(), 0.02)
        assert flown.nfev > 100
        assert 10**9 - work.left() == flown.nfev * work.STAGE


def test_an_inner_allowance_counts_for_itself() -> None:
    with work.allowed(work.BATCH + 1):
        with work.allowed(10 * work.BATCH):
            for _ in range(9):
                work.evaluate(0)
        work.evaluate(1)
    assert work.left() == float("inf")


def test_a_model_cannot_hold_it_up() -> None:
    assert not issubclass(work.TooMuchWork, Exception)
