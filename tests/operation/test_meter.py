"""What a computation took: flights, values of drag laws, and the time of each model."""

import threading
from types import SimpleNamespace

import numpy as np
import pytest
from reference_setups import AIR, recurve
from strangers import demo_request

from arrowloft.app import create_app
from arrowloft.core.flight import work
from arrowloft.core.flight.aim import aim
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import Flow
from arrowloft.plugin import meter, time_limit
from arrowloft.plugin.guard import guarded_law
from arrowloft.plugin.registry import Registry
from arrowloft.plugin.time_limit import Running

DRAG = SimpleNamespace(kind="drag", name="one")
LAUNCH = SimpleNamespace(kind="launch", name="two")


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """A clock that stands still until it is set."""
    found = SimpleNamespace(now=100.0)
    monkeypatch.setattr(time_limit, "perf_counter", lambda: found.now)
    return found


@pytest.mark.parametrize("shape", [(3,), (8, 5), (2, 3, 4), (0,)])
def test_every_value_that_a_guarded_law_is_asked_for_counts(shape: tuple[int, ...]) -> None:
    registry = Registry.discover()
    model = registry.build("drag", "constant", registry.get("drag", "constant").example)
    law = guarded_law(model)
    flow = Flow(np.full(shape, 60.0), AIR.density, AIR.viscosity, AIR.speed_of_sound)
    meter.begin()
    for _ in range(2):
        law(flow, Arrow(mass=0.02, shaft_diameter=0.0055))
    assert meter.now().evaluations == 2 * np.prod(shape)
    meter.begin()
    assert meter.now() == meter.Metered(lanes=0, evaluations=0, model_seconds={})


def test_every_flight_that_is_solved_counts() -> None:
    meter.begin()
    aim(recurve(), np.array([20.0, 30.0, 40.0]))
    assert meter.now().lanes == 3


def test_time_is_that_of_the_innermost_model(clock: SimpleNamespace) -> None:
    meter.begin()
    for _ in range(2):
        with Running(LAUNCH):
            clock.now += 1.0
            with Running(DRAG):
                clock.now += 10.0
            clock.now += 100.0
        clock.now += 1000.0
    spent = meter.now().model_seconds
    assert spent == {("launch", "two"): 202.0, ("drag", "one"): 20.0}


def test_the_time_of_a_model_that_raises_counts(clock: SimpleNamespace) -> None:
    meter.begin()
    with pytest.raises(ValueError), Running(DRAG):
        clock.now += 3.0
        raise ValueError
    assert meter.now().model_seconds == {("drag", "one"): 3.0}


def test_threads_count_for_themselves() -> None:
    meter.begin()
    work.evaluate(1)
    thread = threading.Thread(target=lambda: work.evaluate(10))
    thread.start()
    thread.join()
    assert meter.now().evaluations == 1


def test_what_was_handed_over_does_not_change() -> None:
    meter.begin()
    before = meter.now()
    with Running(DRAG):
        pass
    assert before.model_seconds == {}


def test_a_request_counts_from_its_beginning() -> None:
    """The same request takes the same work, whatever went before it on this thread."""
    client = create_app().test_client()
    found = []
    for _ in range(2):
        work.evaluate(1000)
        assert client.post("/v1/mark-table", json=demo_request()).status_code == 200
        found.append((meter.now().lanes, meter.now().evaluations))
    assert found[0] == found[1]
    assert min(found[0]) > 0
