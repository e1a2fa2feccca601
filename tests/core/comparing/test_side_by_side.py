"""Set-ups side by side: each as it is alone, differences, reach, order."""

import numpy as np
import pytest
from reference_setups import coefficient, compound, in_vacuum, recurve

from arrowloft.core.comparing.setups import Setups
from arrowloft.core.comparing.side_by_side import side_by_side
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, Unsolved, reach
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.laws import LawsByLane
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight, Thread

ROWS = np.linspace(12.0, 80.0, 35)
SIGHT = Sight(
    radius=0.85,
    zero_distance=18.0,
    elevation=Thread(travel_per_turn=1.2e-3, clicks_per_turn=12),
)


def kinked(flow, arrow):
    """Constant below Reynolds number 20,000 on the diameter, rising above it."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return (1.5 + 4e-4 * np.maximum(reynolds - 2.0e4, 0.0)) * cross_section(arrow)


def rising(flow, arrow):
    """A coefficient that grows with the Reynolds number."""
    return 1e-4 * flow.reynolds(arrow.shaft_diameter) * cross_section(arrow)


LAWS = (coefficient(1.4), kinked, coefficient(2.2), rising)
KINKS = ((), (2.0e4,), (), None)
"""The last is smooth and does not say so."""


def many(make=recurve, laws=LAWS, kinks=KINKS, **changes):
    return Setups.of(make(drag=LawsByLane.repeated(laws, 1), **changes), kinks)


def alone(setups, one, make=recurve, **changes):
    law = setups.law_of[one]
    return make(drag=setups.shot.drag.laws[law], kinks=setups.kinks[law], **changes)


def marched(found, one):
    """Whether what is said of a set-up is read from a fan, to some millionths of a metre."""
    fans = found.aimed.fans
    return fans is not None and fans.place[one] >= 0


@pytest.mark.parametrize(
    ("distances", "changes"),
    [
        (ROWS, {}),
        (ROWS[::-3], {"tip_lead": 0.3, "launch_forward": 0.8, "peep_height": 0.11}),
        (ROWS, {"wind_speed": 4.0, "wind_from": 1.0, "slope": 0.4}),
        (np.array([50.0]), {}),
        (np.array([50.0, 50.0]), {"wind_speed": 3.0, "wind_from": 2.0, "tip_lead": 0.2}),
    ],
)
def test_each_is_what_a_mark_table_says_of_it(distances, changes):
    speeds, doubts, shares = (57.0, 62.0, 60.0, 58.0), (0.2, 0.3, 0.1, 0.4), (0.1, 0.2, 0.05, 0.0)
    setups = many(launch_speed=np.array(speeds), **changes)
    found = side_by_side(
        setups,
        distances,
        baseline=2,
        sight=SIGHT,
        speed_uncertainty=np.array(doubts),
        drag_uncertainty=np.array(shares),
    )
    assert found.error < (1e-7 if found.aimed.fans else 1e-9)
    for one in range(4):
        table = mark_table(
            alone(setups, one, launch_speed=speeds[one], **changes),
            SIGHT,
            distances,
            speed_uncertainty=doubts[one],
            drag_uncertainty=shares[one],
        )
        mine, close = found.of(one), 100.0 if marched(found, one) else 1.0
        assert mine.launch_angle == pytest.approx(table.launch_angle, abs=2e-10 * close)
        for name in ("time", "speed", "energy", "momentum"):
            expected = getattr(table, name)
            assert getattr(mine, name) == pytest.approx(expected, rel=1e-9 * close**1.5), name
        assert mine.travel == pytest.approx(table.travel, abs=2e-10 * close)
        assert mine.clicks.tolist() == table.clicks.tolist()
        assert mine.drift == pytest.approx(table.drift, abs=1e-8 * close)
        for name in ("height_uncertainty", "travel_uncertainty"):
            expected = getattr(table, name)
            assert getattr(mine, name) == pytest.approx(expected, rel=5e-3, abs=1e-7), name
        low, high = table.airspeed_range
        assert found.least_airspeed[one] == pytest.approx(low, rel=2e-3)
        assert found.greatest_airspeed[one] == pytest.approx(high, rel=2e-3)


@pytest.mark.parametrize("distances", [ROWS, np.array([30.0, 60.0]), np.array([60.0])])
@pytest.mark.parametrize("baseline", [0, 1])
def test_impacts_with_the_baseline_s_mark(distances, baseline):
    """The baseline's angle, every law, no windage: as arrows loosed one by one."""
    changes = {"wind_speed": 3.0, "wind_from": 1.2, "tip_lead": 0.3, "peep_height": 0.1}
    setups = many(**changes)
    found = side_by_side(setups, distances, baseline=baseline)
    base = found.launch_angle[baseline]
    own = impacts(alone(setups, baseline, **changes), base, distances)
    for one in range(4):
        met = impacts(alone(setups, one, **changes), base, distances)
        close = 3e-6 if marched(found, one) else 5e-7
        assert found.up[one] == pytest.approx(met.up, abs=close)
        assert found.right[one] == pytest.approx(met.right - own.right, abs=close)
    for name in ("up", "right", "time_difference", "speed_difference"):
        assert not getattr(found, name)[baseline].any()
    assert np.abs(found.up).max() > 0.05 and found.position_error < 2e-6


def test_without_drag_the_impact_is_a_closed_form():
    """Loosed at the angle of a slower arrow that hits: x tan(a) (1 - v1^2 / v2^2) above it."""
    setups = Setups.of(
        in_vacuum(
            drag=LawsByLane((coefficient(0.0),), np.zeros(3, dtype=np.intp)),
            launch_speed=np.array([55.0, 60.0, 50.0]),
        ),
        [()],
    )
    found = side_by_side(setups, ROWS)
    tangent = np.tan(found.launch_angle[0])
    for one, speed in ((1, 60.0), (2, 50.0)):
        expected = ROWS * tangent * (1.0 - (55.0 / speed) ** 2)
        assert found.up[one] == pytest.approx(expected, abs=3e-7)


def test_differences_are_from_the_baseline():
    found = side_by_side(many(), ROWS, baseline=2, sight=SIGHT)
    for name, of in (("travel", "travel"), ("clicks", "clicks"), ("time", "time")):
        values = getattr(found, of)
        assert getattr(found, f"{name}_difference") == pytest.approx(values - values[2])
    assert not found.clicks_difference[2].any() and not found.travel_difference[2].any()


def test_reynolds_numbers_are_those_of_the_air_that_is_met():
    """In a head wind the airspeed is more than the speed by the wind, nearly."""
    setups = many(make=compound, wind_speed=6.0, wind_from=0.0)
    found = side_by_side(setups, ROWS)
    shot = setups.shot
    per_speed = shot.air.density * shot.arrow.shaft_diameter / shot.air.viscosity
    assert found.reynolds_at_launch == pytest.approx(np.full((4, 35), 91.0 * per_speed), rel=1e-3)
    assert found.reynolds_at_arrival == pytest.approx((found.speed + 6.0) * per_speed, rel=1e-3)
    single = side_by_side(setups, ROWS[-1:])
    assert single.reynolds_at_arrival[:, 0] == pytest.approx(found.reynolds_at_arrival[:, -1])


def test_the_order_of_set_ups_is_the_order_of_the_answers():
    speeds, order = np.array([57.0, 62.0, 60.0, 58.0]), np.array([2, 0, 3, 1])
    found = side_by_side(many(launch_speed=speeds), ROWS, baseline=1, sight=SIGHT)
    moved = side_by_side(
        many(
            launch_speed=speeds[order],
            laws=[LAWS[i] for i in order],
            kinks=[KINKS[i] for i in order],
        ),
        ROWS,
        baseline=3,
        sight=SIGHT,
    )
    for name in ("launch_angle", "time", "up", "right", "travel", "reynolds_at_arrival"):
        expected = getattr(found, name)[order]
        assert getattr(moved, name) == pytest.approx(expected, rel=1e-9, abs=1e-9), name


def test_more_set_ups_than_one_batch_holds():
    setups = Setups.of(
        recurve(
            drag=LawsByLane((coefficient(2.0),), np.zeros(130, dtype=np.intp)),
            launch_speed=np.linspace(50.0, 70.0, 130),
        ),
        [()],
    )
    found = side_by_side(setups, ROWS[::5])
    for one in (0, 59, 60, 129):
        speed = float(setups.shot.launch_speed[one])
        table = mark_table(recurve(launch_speed=speed), SIGHT, ROWS[::5])
        assert found.launch_angle[one] == pytest.approx(table.launch_angle, abs=2e-10)


def test_each_may_have_its_own_arrow():
    mass = np.array([0.018, 0.024])
    setups = Setups.of(
        recurve(
            arrow=Arrow(mass=mass, shaft_diameter=0.0055),
            drag=LawsByLane((coefficient(2.0),), np.zeros(2, dtype=np.intp)),
        ),
        [()],
    )
    found = side_by_side(setups, ROWS)
    for one in range(2):
        shot = recurve(arrow=Arrow(mass=mass[one], shaft_diameter=0.0055))
        table = mark_table(shot, SIGHT, ROWS)
        assert found.of(one).energy == pytest.approx(table.energy, rel=1e-9)


def test_one_that_falls_short_spoils_no_other():
    far = np.linspace(40.0, 160.0, 25)
    setups = many(laws=(coefficient(1.5), coefficient(20.0)), kinks=((), ()))
    found = side_by_side(setups, far, sight=SIGHT)
    farthest = float(reach(alone(setups, 1)).distance[0])
    assert 60.0 < farthest < 140.0
    assert found.farthest[1] == pytest.approx(farthest, abs=1e-3) and np.isnan(found.farthest[0])
    for name in ("launch_angle", "travel", "time", "up", "reynolds_at_arrival"):
        row = getattr(found, name)[1]
        assert np.isfinite(row).tolist() == (far <= farthest).tolist(), name
        assert np.isfinite(getattr(found, name)[0]).all(), name
    inside = far[far <= farthest]
    table = mark_table(alone(setups, 1), SIGHT, inside)
    assert found.travel[1][: inside.size] == pytest.approx(table.travel, abs=1e-7)


def test_one_that_is_stretched_to_its_reach_is_told_to_reach_all():
    setups = many(laws=(coefficient(1.5), coefficient(20.0)), kinks=((), ()))
    far = float(reach(alone(setups, 1)).distance[0])
    distances = np.array([0.5, 0.9, 0.999]) * far
    found = side_by_side(setups, distances)
    assert not np.isfinite(found.aimed.curves.error[1]) and np.isnan(found.farthest).all()
    table = mark_table(alone(setups, 1), SIGHT, distances)
    assert found.launch_angle[1] == pytest.approx(table.launch_angle, abs=2e-7)


def test_a_kink_passed_is_never_read_across():
    """Nor one so slight that the solver's own estimate does not see it."""

    def bent(flow, arrow):
        reynolds = flow.reynolds(arrow.shaft_diameter)
        return (1.5 + 1e-9 * np.maximum(reynolds - 2.0e4, 0.0)) * cross_section(arrow)

    setups = many(laws=(coefficient(1.5), bent, bent), kinks=((), (2.0e4,), (3.0e4,)))
    found = side_by_side(setups, ROWS)
    assert np.isfinite(found.aimed.curves.error).tolist() == [True, False, True]
    assert setups.passes_kink(found.least_airspeed, found.greatest_airspeed).tolist() == [
        False,
        True,
        False,
    ]


def test_one_that_cannot_be_followed_spoils_no_other():
    def broken(flow, arrow):
        return np.full(flow.airspeed.shape, np.nan)

    setups = many(laws=(LAWS[0], broken, *LAWS[2:]))
    found = side_by_side(setups, ROWS, sight=SIGHT)
    assert found.followed.tolist() == [True, False, True, True]
    assert np.isnan(found.launch_angle[1]).all() and np.isnan(found.up[1]).all()
    assert np.isnan(found.farthest[1]) and np.isfinite(found.up[[0, 2, 3]]).all()
    with pytest.raises(Unsolved):
        side_by_side(setups, ROWS, baseline=1)


def test_a_baseline_out_of_reach_is_refused():
    setups = many(laws=(coefficient(1.5), coefficient(20.0)), kinks=((), ()))
    with pytest.raises(BeyondReach) as caught:
        side_by_side(setups, np.array([40.0, 160.0, 150.0]), baseline=1)
    assert caught.value.lanes == (1, 2) and caught.value.case == 1
    assert caught.value.farthest == pytest.approx(float(reach(alone(setups, 1)).distance[0]))


def test_too_near_names_the_distance():
    with pytest.raises(TooNear) as caught:
        side_by_side(many(launch_forward=1.5), np.array([20.0, 1.2]), sight=SIGHT)
    assert caught.value.lanes == (1,)


def test_laws_must_be_by_lane():
    with pytest.raises(TypeError):
        Setups.of(recurve(), [()])
