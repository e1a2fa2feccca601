"""The farthest sensible distance: a root of the chance, the whole way, nowhere, near the reach."""

import numpy as np
import pytest
from calibration_setups import plain_shot, vacuum
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.aim_errors import AimErrors
from arrowloft.core.chances.hit_probability import Aiming, Archer, chance, hit_probability
from arrowloft.core.chances.sensible_distance import OF_REACH, sensible_distance
from arrowloft.core.chances.zones import Face, Zone
from arrowloft.core.flight.aim import nearest_aim
from arrowloft.core.flight.reach import BeyondReach, reach

CIRCLE = Zone.circle(0.1)
GROUP = Group(distance=30.0, vertical=0.04, sideways=0.04)
ERRORS = AimErrors(speed=0.5, range_share=0.05, wind_across=1.0)


def aiming(errors=ERRORS, *, group=GROUP, **changes):
    return Aiming(shot=plain_shot(**changes), archer=Archer(group=group), errors=errors)


def test_a_group_alone_in_closed_form() -> None:
    """1 - exp(-r^2 / 2 s^2) = p where s = r / sqrt(-2 ln(1 - p)), s in proportion to d."""
    for probability in (0.3, 0.5, 0.8, 0.99):
        found = sensible_distance(aiming(AimErrors()), CIRCLE, probability, 5.0, 150.0)
        expected = 30.0 / 0.04 * 0.1 / np.sqrt(-2.0 * np.log(1.0 - probability))
        assert found.distance == pytest.approx(expected, rel=1e-5)
        assert not found.whole and found.ends_at == 150.0


@settings(max_examples=10, deadline=None)
@given(st.floats(0.2, 0.995), st.booleans())
def test_there_the_chance_is_what_was_asked_for(probability, scored) -> None:
    target = Face.of_ten_rings(0.4, 6) if scored else Zone(half_height=0.08, half_width=0.2)
    found = sensible_distance(aiming(), target, probability, 5.0, 200.0)
    at = found.distance * np.array([0.2, 0.6, 0.95, 1.0, 1.01])
    before, _ = chance(aiming(), target, at[at > 5.0])
    assert before[-2] == pytest.approx(probability, abs=2e-5)
    assert (before[:-2] > probability).all() and before[-1] < probability


def test_surely_a_group_alone_in_closed_form() -> None:
    """As above with the largest s of a diameter: s sqrt(k / x), x the 5 % of chi squared."""
    few = Group.of_diameter(30.0, 0.12, 6)
    found = sensible_distance(aiming(AimErrors(), group=few), CIRCLE, 0.8, 5.0, 150.0)
    wide = few.vertical * np.sqrt(few.degrees / stats.chi2.ppf(0.05, few.degrees))
    of = np.sqrt(-2.0 * np.log(0.2))
    assert found.distance == pytest.approx(30.0 * 0.1 / (few.vertical * of), rel=1e-5)
    assert found.surely == pytest.approx(30.0 * 0.1 / (wide * of), rel=1e-5)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.2, 0.95), st.integers(3, 40), st.booleans())
def test_there_the_low_end_is_what_was_asked_for(probability, arrows, scored) -> None:
    """The low end of the reply itself, with all that is in it; never beyond the distance."""
    target = Face.of_ten_rings(0.4, 6) if scored else CIRCLE
    of = aiming(group=Group(distance=30.0, vertical=0.04, sideways=0.05, arrows=arrows))
    found = sensible_distance(of, target, probability, 5.0, 200.0)
    if np.isnan(found.surely):  # not even at the nearest
        assert hit_probability(of, target, np.array([5.0])).low[0] < probability
        return
    assert found.surely <= found.distance
    low = hit_probability(of, target, found.surely * np.array([0.97, 1.0, 1.03])).low
    assert low[1] == pytest.approx(probability, abs=1e-4)
    assert low[0] > probability > low[2]


def test_nothing_is_sure_of_unsaid_arrows_or_few_at_the_nearest() -> None:
    assert np.isnan(sensible_distance(aiming(), CIRCLE, 0.5, 5.0, 150.0).surely)
    two = Group(distance=30.0, vertical=0.04, sideways=0.04, arrows=2)
    found = sensible_distance(aiming(group=two), CIRCLE, 0.9, 20.0, 150.0)
    assert found.distance > 20.0 and np.isnan(found.surely)


def test_surely_all_the_way() -> None:
    few = Group(distance=30.0, vertical=0.04, sideways=0.04, arrows=6)
    found = sensible_distance(aiming(group=few), Zone.circle(2.0), 0.9, 5.0, 40.0)
    assert found.whole and found.surely == found.distance == found.ends_at == 40.0


def test_a_doubtful_mark_between_two_good_ones_is_found() -> None:
    """At 30 m a mark is off by 20 mrad, 1 m nearer and farther by hardly anything."""
    marks = {
        "mark_distances": np.array([29.0, 30.0, 31.0]),
        "mark_angles": np.array([1e-4, 2e-2, 1e-4]),
    }
    fine = Group(distance=30.0, vertical=0.01, sideways=0.01, arrows=50)
    narrow = aiming(AimErrors(**marks), group=fine)
    found = sensible_distance(narrow, CIRCLE, 0.9, 5.0, 60.0)
    assert not found.whole and 29.0 < found.surely < found.distance < 29.5
    assert chance(narrow, CIRCLE, np.array([found.distance]))[0] == pytest.approx(0.9, abs=1e-3)
    # The doubt told where nothing is looked for plays no part.
    assert sensible_distance(narrow, CIRCLE, 0.9, 32.0, 60.0).ends_at == 60.0
    assert sensible_distance(narrow, CIRCLE, 0.9, 5.0, 28.0).whole


def test_less_asked_for_is_farther() -> None:
    farthest = [
        sensible_distance(aiming(), CIRCLE, probability, 5.0, 200.0).distance
        for probability in (0.95, 0.8, 0.5)
    ]
    assert farthest == sorted(farthest)


def test_good_all_the_way() -> None:
    found = sensible_distance(aiming(), Zone.circle(2.0), 0.9, 5.0, 40.0)
    assert found.whole and found.distance == found.ends_at == 40.0


def test_nowhere_good() -> None:
    wild = Group(distance=30.0, vertical=3.0, sideways=3.0)
    found = sensible_distance(aiming(group=wild), CIRCLE, 0.9, 10.0, 60.0)
    assert np.isnan(found.distance) and not found.whole and found.ends_at == 60.0


def test_looked_for_no_nearer_than_can_be_shot() -> None:
    """From 0.1 m, which lies behind the launched tip; and where that is beyond `far`."""
    nearest = float(nearest_aim(plain_shot()))
    found = sensible_distance(aiming(AimErrors()), CIRCLE, 0.8, 0.1, 150.0)
    asked = sensible_distance(aiming(AimErrors()), CIRCLE, 0.8, 5.0, 150.0)
    assert found.distance == pytest.approx(asked.distance, rel=2e-5)
    assert sensible_distance(aiming(AimErrors()), CIRCLE, 0.8, 0.1, 0.2).ends_at == nearest


def test_guesses_that_are_too_near_are_passed_over() -> None:
    """A guess 2 m off has no mark at 3 m: the answer is that of a search from farther."""
    errors = AimErrors(range=2.0)
    near, far = (sensible_distance(aiming(errors), CIRCLE, 0.7, d, 150.0) for d in (3.0, 10.0))
    assert np.isnan(chance(aiming(errors), CIRCLE, np.array([3.0]))[0][0])
    assert near.distance == pytest.approx(far.distance, rel=2e-5)


def test_the_search_ends_before_the_reach() -> None:
    """A large zone and a weak bow: good to the end, and that is a share of the reach."""
    weak = {"launch_speed": 30.0, "drag": vacuum}
    farthest = float(reach(plain_shot(**weak), np.ones(1, dtype=bool)).distance[0])
    found = sensible_distance(aiming(AimErrors(), **weak), Zone.circle(50.0), 0.9, 5.0, 500.0)
    assert found.whole
    assert found.distance == found.ends_at == pytest.approx(OF_REACH * farthest, rel=1e-6)


def test_where_guesses_have_no_mark_the_search_stops() -> None:
    """Two deviations too far a guess is beyond reach: from there on nothing is promised."""
    weak = {"launch_speed": 30.0, "drag": vacuum}
    shooter = aiming(AimErrors(range_share=0.2), **weak)
    farthest = float(reach(plain_shot(**weak), np.ones(1, dtype=bool)).distance[0])
    found = sensible_distance(shooter, Zone.circle(50.0), 0.5, 5.0, 500.0)
    assert not found.whole
    assert found.distance == pytest.approx(farthest / 1.4, rel=5e-3)
    there, _ = chance(shooter, Zone.circle(50.0), np.array([found.distance]))
    assert np.isfinite(there).all()


def test_a_nearest_distance_beyond_reach_is_refused() -> None:
    with pytest.raises(BeyondReach):
        sensible_distance(aiming(launch_speed=20.0), CIRCLE, 0.5, 100.0, 200.0)
