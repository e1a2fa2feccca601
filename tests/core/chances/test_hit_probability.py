"""Chances of a hit: identities and properties, the group's own part, faces, intervals."""

import numpy as np
import pytest
from calibration_setups import plain_shot
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.aim_errors import AimErrors, Movement
from arrowloft.core.chances.edgeworth import normal_share
from arrowloft.core.chances.effects import effects
from arrowloft.core.chances.hit_probability import (
    BEGINS,
    GROUP,
    Aiming,
    Archer,
    chance,
    hit_probability,
)
from arrowloft.core.chances.quadratic_forms import first_two
from arrowloft.core.chances.zones import Face, Zone
from arrowloft.core.sight.wind_table import wind_table

DISTANCES = np.array([15.0, 30.0, 50.0, 70.0])
CIRCLE = Zone.circle(0.1)
FACE = Face.of_ten_rings(0.80, touch=0.003)
ALL = AimErrors(
    speed=0.5,
    roll=0.02,
    range=0.5,
    range_share=0.03,
    wind_along=1.0,
    wind_across=1.0,
    mark_distances=np.array([10.0, 100.0]),
    mark_angles=np.array([1e-3, 5e-4]),
    movement=Movement(away=0.3, right=0.2, scatter=0.3, delay=0.1),
)
NOTHING = AimErrors()

few = settings(max_examples=12, deadline=None)


def group(**changes):
    return Group(**{"distance": 30.0, "vertical": 0.04, "sideways": 0.04, **changes})


def aiming(errors=NOTHING, *, shot=None, archer=None, of=None, **changes):
    archer = archer or Archer(group=of or group())
    return Aiming(shot=shot or plain_shot(), archer=archer, errors=errors, **changes)


def chances(errors=NOTHING, target=CIRCLE, distances=DISTANCES, **changes):
    return hit_probability(aiming(errors, **changes), target, distances)


# The group alone.


def test_a_group_alone_is_rayleigh() -> None:
    """1 - exp(-r^2 / 2 s^2), s in proportion to the distance."""
    found = chances()
    deviation = 0.04 * DISTANCES / 30.0
    assert found.probability == pytest.approx(-np.expm1(-0.5 * (0.1 / deviation) ** 2), abs=1e-9)
    assert found.sd_up == pytest.approx(deviation)
    assert found.error == pytest.approx(0.0, abs=1e-12)
    assert found.causes == (GROUP,) and found.share == pytest.approx(np.ones((1, 4)))


def test_aimed_off_the_middle() -> None:
    """Non-central chi squared."""
    found = chances(offset=(0.05, -0.08))
    deviation = 0.04 * DISTANCES / 30.0
    expected = stats.ncx2.cdf((0.1 / deviation) ** 2, 2, (0.05**2 + 0.08**2) / deviation**2)
    assert found.probability == pytest.approx(expected, abs=1e-8)
    assert found.up == pytest.approx(np.full(4, 0.05), abs=1e-8)
    assert found.right == pytest.approx(np.full(4, -0.08), abs=1e-8)


@pytest.mark.parametrize("growth", [0.7, 1.0, 1.6])
def test_the_power_a_group_grows_with(growth) -> None:
    found = chances(archer=Archer(group=group(sideways=0.06), growth=growth))
    factor = (DISTANCES / 30.0) ** growth
    assert found.sd_up == pytest.approx(0.04 * factor)
    assert found.sd_right == pytest.approx(0.06 * factor)


@pytest.mark.parametrize(
    ("arrows", "c4"), [(2, 0.7978846), (5, 0.9399856), (10, 0.9726593), (25, 0.9896404)]
)
def test_the_factor_of_few_arrows(arrows, c4) -> None:
    """1 / c4: table of control charts, as printed in any handbook of statistical quality control
    (for example ASTM MNL 7), from memory; and the mean of SciPy's chi distribution."""
    assert 1.0 / group(arrows=arrows).unbiased == pytest.approx(c4, abs=5e-7)
    mean = stats.chi(arrows - 1).mean() / np.sqrt(arrows - 1)
    assert 1.0 / group(arrows=arrows).unbiased == pytest.approx(mean, rel=1e-12)
    found = chances(of=group(arrows=arrows), distances=np.array([30.0]))
    assert found.sd_up == pytest.approx(0.04 / c4, rel=1e-6)


def test_no_factor_where_the_spread_allows_for_it() -> None:
    assert Group.of_diameter(30.0, 0.2, 5).unbiased == 1.0
    assert group().unbiased == 1.0


# What the group holds already.


@pytest.mark.parametrize("within", [("speed",), ("speed", "roll")])
def test_at_its_own_distance_a_group_is_what_was_found(within) -> None:
    """Counted in it already, errors of speed and roll do not widen it there."""
    errors = AimErrors(speed=0.8, roll=0.01)
    archer = Archer(group=group(arrows=9), within=within)
    found = chances(errors, archer=archer, distances=np.array([20.0, 30.0, 60.0]))
    whole = 0.04 * archer.group.unbiased
    assert found.sd_up[1] == pytest.approx(whole, rel=1e-6)
    if "roll" in within:
        assert found.sd_right[1] == pytest.approx(whole, rel=1e-6)
    # What speed does grows faster than in proportion.
    assert found.sd_up[2] > 2.001 * whole and found.sd_up[0] < 0.6667 * whole
    assert not found.drained


def test_a_group_that_does_not_hold_them_is_wider() -> None:
    errors, there = AimErrors(speed=0.8), np.array([30.0])
    found = chances(errors, archer=Archer(group=group(), within=()), distances=there)
    forms = effects(plain_shot(), there, errors).forms
    assert found.sd_up**2 == pytest.approx(0.04**2 + forms.variances()[0, 0])


def test_a_group_smaller_than_what_it_should_hold() -> None:
    """Nothing is left of it, and that is said."""
    found = chances(
        AimErrors(speed=5.0), of=group(vertical=0.005), distances=np.array([30.0, 50.0])
    )
    assert found.drained
    forms = effects(plain_shot(), np.array([30.0, 50.0]), AimErrors(speed=5.0)).forms
    assert found.sd_up == pytest.approx(np.sqrt(forms.variances()[0, 0]), rel=1e-9)


def test_what_it_holds_is_known_where_a_guess_has_no_mark() -> None:
    """At 3 m a guess may be too near to be shot; the part of speed in the group is not lost."""
    near = group(distance=3.0, vertical=0.004, sideways=0.004)
    found = chances(AimErrors(speed=3.0, range=1.2), of=near, distances=np.array([40.0]))
    alone = chances(AimErrors(speed=3.0), of=near, distances=np.array([40.0]))
    forms = effects(plain_shot(), np.array([3.0]), AimErrors(speed=3.0)).forms
    held = forms.variances()[0, 0, 0]
    own = (0.004**2 - held) * (40.0 / 3.0) ** 2
    speed = effects(plain_shot(), np.array([40.0]), AimErrors(speed=3.0)).forms.variances()[0, 0, 0]
    assert held > 1e-8
    assert alone.sd_up[0] ** 2 == pytest.approx(own + speed, rel=1e-9)
    assert found.share[0, 0] * (found.sd_up**2 + found.sd_right**2) == pytest.approx(
        alone.share[0, 0] * (alone.sd_up**2 + alone.sd_right**2), rel=1e-9
    )


def test_a_group_was_shot_at_a_target_that_stood_still() -> None:
    """What a moving one adds to uneven speed is not in it: the speed's own part is taken out."""
    moves, there = Movement(right=4.0, scatter=3.0, delay=0.1), np.array([30.0])
    archer = Archer(group=group(), within=("speed",))
    found = chances(AimErrors(speed=1.0, movement=moves), archer=archer, distances=there)
    of_group = found.share[0] * (found.sd_up**2 + found.sd_right**2)
    held = effects(plain_shot(), there, AimErrors(speed=1.0)).forms.variances().sum(axis=0)
    assert of_group == pytest.approx(2.0 * 0.04**2 - held[0], rel=1e-9)


def test_what_two_errors_do_together_is_in_no_group_that_held_one() -> None:
    """A rolled bow carries a wrong guess to the side; the group was shot without a guess."""
    archer, there = Archer(group=group(), within=("roll",)), np.array([30.0])
    found = chances(AimErrors(roll=0.05, range=6.0), archer=archer, distances=there)
    of_group = found.share[0] * (found.sd_up**2 + found.sd_right**2)
    held = effects(plain_shot(), there, AimErrors(roll=0.05)).forms.variances().sum(axis=0)
    assert of_group == pytest.approx(2.0 * 0.04**2 - held[0], rel=1e-7)


@pytest.mark.parametrize("name", ["wind_along", "wind_across"])
def test_wind_may_be_in_the_group(name) -> None:
    """There the scatter is the group's; farther on its part outgrows the rest."""
    archer = Archer(group=group(), within=(name,))
    found = chances(AimErrors(**{name: 1.5}), archer=archer, distances=np.array([30.0, 60.0]))
    wide = {"wind_along": found.sd_up, "wind_across": found.sd_right}[name]
    assert wide[0] == pytest.approx(0.04, rel=1e-9)
    assert wide[1] > 0.08 + {"wind_along": 1e-7, "wind_across": 1e-3}[name]


# Properties.


@few
@given(st.floats(0.005, 0.15), st.floats(1.01, 3.0), st.booleans())
def test_a_smaller_group_never_hits_less(deviation, factor, curved) -> None:
    """Aimed at the middle, nothing else off but what is symmetric."""
    zone = Zone(half_height=0.08, half_width=0.12, round=curved)
    errors = AimErrors(wind_across=1.0)
    small, large = (
        chance(aiming(errors, of=group(vertical=one, sideways=one)), zone, DISTANCES)[0]
        for one in (deviation, factor * deviation)
    )
    assert (small >= large - 1e-9).all()


@few
@given(st.floats(0.01, 0.4), st.floats(1.0, 2.0), st.floats(1.0, 2.0), st.booleans())
def test_a_larger_zone_never_catches_less(half, taller, wider, curved) -> None:
    small = Zone(half_height=half, half_width=0.8 * half, round=curved)
    large = Zone(half_height=taller * half, half_width=0.8 * wider * half, round=curved)
    less, more = (chances(ALL, zone) for zone in (small, large))
    assert (more.probability >= less.probability - less.error - more.error - 1e-9).all()


@few
@given(st.floats(0.1, 6.0), st.floats(0.0, 6.28), st.floats(-0.1, 0.1))
def test_wind_from_the_other_side(speed, comes_from, aside) -> None:
    """Left and right change places, and nothing else changes."""
    errors = AimErrors(speed=0.5, wind_across=1.0, range_share=0.04)
    one, other = (
        chances(
            errors,
            shot=plain_shot(wind_speed=speed, wind_from=side * comes_from),
            offset=(0.02, side * aside),
            wind_allowed=False,
        )
        for side in (1.0, -1.0)
    )
    assert one.probability == pytest.approx(other.probability, abs=1e-8)
    assert one.right == pytest.approx(-other.right, abs=1e-7)
    assert one.up == pytest.approx(other.up, abs=1e-7)


def test_no_wind_no_drift() -> None:
    """Nor any scatter to the side but the group's."""
    found = chances(AimErrors(speed=0.5, range_share=0.05, wind_along=1.5))
    assert found.right == pytest.approx(np.zeros(4), abs=1e-12)
    assert found.sd_right == pytest.approx(0.04 * DISTANCES / 30.0)


def test_wind_that_is_not_allowed_for_drifts() -> None:
    windy = plain_shot(wind_speed=3.0, wind_from=0.5 * np.pi)
    found = chances(shot=windy, wind_allowed=False)
    table = wind_table(plain_shot(), DISTANCES, np.array([3.0]), np.array([0.5 * np.pi]))
    assert found.right == pytest.approx(table.drift, rel=1e-3)
    assert (found.probability < chances(shot=windy).probability).all()


def test_one_pass_says_the_same_as_the_chance_alone() -> None:
    of = group(arrows=7)
    for target in (CIRCLE, FACE):
        found = chances(ALL, target, of=of)
        probability, low = chance(aiming(ALL, of=of), target, DISTANCES)
        assert probability == pytest.approx(found.probability, abs=1e-14)
        assert low == pytest.approx(found.low, abs=1e-14)
    assert np.isnan(chance(aiming(ALL), CIRCLE, DISTANCES)[1]).all()


def test_rows_stand_for_themselves() -> None:
    together = chances(ALL)
    for row in (0, 3):
        alone = chances(ALL, distances=DISTANCES[[row]])
        assert together.probability[row] == pytest.approx(alone.probability[0], abs=1e-7)


def test_unknown_rows_are_nan() -> None:
    found = chances(AimErrors(range=3.0), FACE, np.array([5.0, 40.0]))
    assert found.known.tolist() == [False, True]
    for name in ("probability", "error", "score", "score_error", "inner", "up", "sd_right"):
        assert np.isnan(getattr(found, name)).tolist() == [True, False]
    assert np.isnan(found.share[:, 0]).all() and np.isfinite(found.share[:, 1]).all()
    alone = chance(aiming(AimErrors(range=3.0), of=group(arrows=9)), FACE, found.distance)
    assert np.isnan(alone).tolist() == [[True, False], [True, False]]


def test_effects_of_fourth_order_are_in_the_error() -> None:
    """2 a^4 c / s^5 for an effect c of fourth order: seen with wide guesses at a near target."""
    errors, near = AimErrors(range_share=0.2), np.array([6.0])
    found = chances(errors, distances=near, of=group(vertical=1e-3, sideways=1e-3))
    every = effects(plain_shot(), near, errors)
    line, fourth = every.forms.linear[0, 0], np.abs(every.quartic[0, 0])
    added = 2.0 * line**4 * fourth / found.sd_up**5
    assert added[0] > 1e-3
    assert found.error[0] >= min(added[0], 1.0)


def test_a_target_that_begins_to_move_is_in_the_error() -> None:
    """Where the delay ends as arrows arrive, and nowhere else."""
    moves = Movement(scatter=0.01, delay=float(chances().time[1]))
    found = chances(AimErrors(speed=1.0, movement=moves))
    assert (found.error > BEGINS).tolist() == [False, True, False, False]
    assert found.error[1] < BEGINS + 1e-3


# Shares and gains.


def test_shares_add_up() -> None:
    found = chances(ALL)
    assert found.causes == (
        GROUP,
        "speed",
        "roll",
        "range",
        "wind_along",
        "wind_across",
        "mark",
        "movement_along",
        "movement_across",
    )
    assert found.share.sum(axis=0) == pytest.approx(np.ones(4))
    assert (found.share >= 0.0).all() and found.gain.shape == found.share.shape


def test_a_gain_is_the_normal_probability_without_the_cause() -> None:
    """Recomputed from mean and covariance, the cause left out by hand."""
    errors = AimErrors(speed=0.8, range_share=0.05, wind_across=2.0)
    archer, aimed_off = Archer(group=group(), within=()), np.array([[0.03], [-0.02]])
    found = chances(errors, archer=archer, offset=(0.03, -0.02))
    forms = effects(plain_shot(), DISTANCES, errors).forms
    own = np.zeros((2, 2, 4))
    own[0, 0] = own[1, 1] = (0.04 * DISTANCES / 30.0) ** 2
    mean, covariance = first_two(forms)
    whole = normal_share(CIRCLE, mean + aimed_off, covariance + own)
    alone = normal_share(CIRCLE, mean + aimed_off, covariance)
    assert found.gain[0] == pytest.approx(alone - whole, abs=1e-12)
    for at in range(3):
        mean, covariance = first_two(forms.without(at))
        without = normal_share(CIRCLE, mean + aimed_off, covariance + own)
        assert found.gain[at + 1] == pytest.approx(without - whole, abs=1e-12)
    assert (found.gain[:, 2] > 1e-4).all()


def test_a_gain_is_what_a_second_run_without_it_finds() -> None:
    """But for the shape, which the gain leaves out, and what causes make together."""
    found = chances(ALL)
    for cause, changes in (("wind_across", {"wind_across": 0.0}), ("roll", {"roll": 0.0})):
        fewer = AimErrors(**{**vars(ALL), **changes})
        gain = chances(fewer).probability - found.probability
        assert found.gain[found.causes.index(cause)] == pytest.approx(gain, abs=2e-4)


# Faces.


@few
@given(st.floats(0.002, 0.5), st.floats(-0.5, 0.5), st.integers(1, 10))
def test_a_score_lies_between_a_miss_and_a_ten(deviation, aside, lowest) -> None:
    face = Face.of_ten_rings(0.8, lowest, touch=0.003)
    found = chances(ALL, face, of=group(vertical=deviation, sideways=deviation), offset=(0, aside))
    assert (found.score >= -1e-12).all() and (found.score <= 10.0 + 1e-12).all()
    assert (found.score <= 10.0 * found.probability + 1e-9).all()
    assert (found.score >= lowest * found.probability - 1e-9 - found.score_error).all()
    assert (found.inner <= found.probability + found.error + 1e-9).all()


def test_a_score_from_the_chances_of_its_rings() -> None:
    found = chances(ALL, FACE)
    within = [chances(ALL, Zone.circle(0.04 * ring + 0.003)).probability for ring in range(1, 11)]
    exactly = -np.diff([*reversed(within), np.zeros(4)], axis=0)
    assert found.score == pytest.approx(np.arange(1.0, 11.0) @ exactly, abs=1e-12)
    assert found.probability == pytest.approx(within[-1])
    assert found.inner == pytest.approx(chances(ALL, Zone.circle(0.023)).probability)


def test_a_score_of_a_group_alone() -> None:
    """Sum of 1 - exp(-r^2 / 2 s^2) over ten rings of a point each."""
    found = chances(target=Face.of_ten_rings(0.8))
    deviation = 0.04 * DISTANCES / 30.0
    rings = 0.04 * np.arange(1.0, 11.0)[:, None]
    assert found.score == pytest.approx(-np.expm1(-0.5 * (rings / deviation) ** 2).sum(axis=0))
    assert found.score_error == pytest.approx(0.0, abs=1e-11)


def test_a_line_touched_scores_more() -> None:
    plain, touched = (chances(ALL, Face.of_ten_rings(0.8, touch=by)) for by in (0.0, 0.004))
    assert (touched.score > plain.score).all() and (touched.inner > plain.inner).all()
    assert chances(ALL, Face(radii=(0.2,), points=(5.0,))).inner is None
    assert chances(ALL).score is None and chances(ALL).score_error is None
