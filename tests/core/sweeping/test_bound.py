"""The bound on the reach: never below the exact one, close above it, and cheap where it is far."""

import numpy as np
import pytest
from reference_setups import G, coefficient, in_vacuum, recurve

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import reach
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.laws import LawsByLane
from arrowloft.core.sweeping import bound as module
from arrowloft.core.sweeping import flown as flown_module
from arrowloft.core.sweeping.bound import ROOM, reach_bound
from arrowloft.core.sweeping.flown import flown

COUNT = 150


def drawn(seed, wind, slope):
    """Set-ups of all kinds: from a weak bow to a strong one, thin shafts and thick ones."""
    random = np.random.default_rng(seed)

    def uniform(low, high):
        return random.uniform(low, high, COUNT)

    return recurve(
        launch_speed=uniform(20.0, 110.0),
        arrow=Arrow(mass=uniform(0.012, 0.05), shaft_diameter=uniform(0.004, 0.01)),
        drag=LawsByLane(
            tuple(coefficient(value) for value in (0.0, 1.0, 2.5, 6.0)),
            random.integers(0, 4, COUNT),
        ),
        slope=np.radians(uniform(-slope, slope)),
        wind_speed=uniform(0.1, wind) if wind else 0.0,
        wind_from=uniform(0.0, 2.0 * np.pi),
        tip_lead=uniform(0.0, 0.5),
        launch_forward=uniform(0.0, 0.9),
        peep_height=uniform(0.0, 0.2),
    )


@pytest.mark.parametrize(("wind", "slope"), [(0.0, 0.0), (0.0, 60.0), (10.0, 0.0), (10.0, 15.0)])
def test_it_lies_above_the_reach_and_not_far(wind, slope):
    """The coarse reach is short by two fifths of the room at most, and seldom unknown."""
    shot = drawn(7, wind, slope)
    exact = reach(shot).distance
    told = reach_bound(shot, 1.05 * exact) / exact - 1.0
    assert told.min() > 0.0
    assert np.mean(told <= ROOM + 1e-3) > 0.85
    coarse = module._coarse(shot, module._drag_share(shot, COUNT)) / exact - 1.0
    assert np.nanmin(coarse) > -0.4 * ROOM


def test_a_wrong_verdict_is_never_given_near_the_reach(monkeypatch):
    """Half a per mille within and beyond the exact reach, and where the bound begins."""
    shot = drawn(8, 5.0, 10.0)
    exact = reach(shot).distance
    for share, arrives in ((0.9995, True), (1.0005, False), (1.0 + 2.0 * ROOM, False)):
        seen = reach_bound(shot, share * exact) < share * exact
        alone = aim(shot.with_(kinks=()), share * exact).reached
        assert (alone == arrives).all()
        assert not (seen & alone).any()
        assert seen.mean() > 0.9 if share > 1.0 + ROOM else not seen.any()


def test_in_vacuum_the_reach_up_a_slope_is_known():
    """v^2 / (g (1 + sin slope)): beyond it, not within; still the launch may lie ahead."""
    slope = np.radians(np.array([-30.0, 0.0, 30.0]))
    far = 57.0**2 / (G * (1.0 + np.sin(slope)))
    shot = in_vacuum(slope=slope)
    assert (reach_bound(shot, far * 1.001) >= far).all()
    assert reach_bound(shot, far * 1.001) == pytest.approx(far, rel=ROOM)
    offset = in_vacuum(slope=slope, launch_forward=0.9, tip_lead=0.4, peep_height=0.1)
    assert (reach_bound(offset, far) > far + 1.3).all()
    # Whatever the wind, without drag it changes nothing.
    blown = reach_bound(shot.with_(wind_speed=5.0), far * 1.2)
    assert blown == pytest.approx(far * (1.0 + ROOM), rel=1e-3)


def test_near_distances_cost_no_flight(monkeypatch):
    monkeypatch.setattr(module, "_coarse", None)
    shot = recurve(launch_speed=np.linspace(50.0, 60.0, COUNT), wind_speed=3.0, wind_from=1.0)
    assert np.isinf(reach_bound(shot, np.full(COUNT, 70.0))).all()


@pytest.mark.parametrize("wind", [0.0, 4.0])
def test_far_beyond_reach_nothing_is_searched(monkeypatch, wind):
    """About 240 m reach: 260 m would take 40 times as long to be searched for."""
    monkeypatch.setattr(flown_module, "_solved", None)
    speeds = np.linspace(52.0, 57.0, COUNT)
    shot = recurve(launch_speed=speeds, wind_speed=wind, wind_from=0.3)
    found = flown(shot, COUNT, np.array([260.0, 300.0]), ("time",), ((),))
    assert not found.reached.any() and not found.unsolved.any()


def test_drag_of_which_coarse_flights_tell_nothing_leaves_the_matter_open():
    shot = recurve(drag=coefficient(60.0), wind_speed=2.0, wind_from=1.0)
    assert np.isinf(reach_bound(shot, np.array([500.0]))).all()
