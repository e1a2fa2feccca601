"""Ends that scatter as the archer's others do not: Fisher's F, seeded false alarms, slips."""

import numpy as np
import pytest
from scipy import stats

from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.landed import Landed
from arrowloft.core.archer.odd_scatters import UNLIKELY, odd_scatters

GROUP = Group(distance=50.0, vertical=0.05, sideways=0.05, arrows=13)


def end(vertical, sideways=None, arrows=6, distance=50.0):
    return Landed.of_deviations(distance, 0.0, 0.0, arrows, vertical, sideways)


@pytest.mark.parametrize("share", [0.98, 1.02])
@pytest.mark.parametrize("tail", ["wide", "narrow"])
def test_a_lone_end_beside_a_group_is_odd_by_fishers_f(share, tail):
    """Both tails count, and one end and one axis: half of UNLIKELY over the two tails."""
    level = UNLIKELY / 4.0
    limit = stats.f(5, 12).isf(level) if tail == "wide" else stats.f(5, 12).ppf(level)
    factor = share if tail == "wide" else 1.0 / share
    found = odd_scatters([end(0.05 * np.sqrt(limit) * factor)], GROUP)
    assert found == ([0] if share > 1.0 else [])


def test_without_a_group_a_lone_end_is_never_odd():
    assert odd_scatters([end(3.0)]) == []
    assert odd_scatters([]) == odd_scatters([], GROUP) == []


def test_inches_written_for_millimetres_are_found_and_do_not_hide_others():
    sound = [end(0.05), end(0.06), end(0.045), end(0.09, distance=90.0)]
    slips = [end(0.05 * 25.4), end(0.07 * 25.4)]
    assert odd_scatters([*sound[:2], slips[0], *sound[2:], slips[1]], GROUP) == [2, 5]


def test_one_hole_typed_six_times_is_odd():
    assert odd_scatters([end(0.05), end(0.0), end(0.06)], GROUP) == [1]


def test_either_axis_tells():
    assert odd_scatters([end(0.05, 0.5), end(0.05, 0.05)], GROUP) == [0]


def test_single_arrows_have_no_scatter_to_be_odd():
    alone = Landed(distance=50.0, up=2.0)
    assert odd_scatters([alone, end(0.05), alone], GROUP) == []


def test_sound_ends_are_seldom_odd():
    rng = np.random.default_rng(11)
    alarms = 0
    for _ in range(400):
        group = Group(
            distance=50.0,
            vertical=0.05 * np.sqrt(rng.chisquare(12) / 12.0),
            sideways=0.05 * np.sqrt(rng.chisquare(12) / 12.0),
            arrows=13,
        )
        ends = [
            Landed.of_arrows(50.0, *rng.normal(0.0, 0.05, (2, arrows))) for arrows in (3, 6, 3, 6)
        ]
        alarms += bool(odd_scatters(ends, group))
    assert alarms <= stats.binom.isf(1e-3, 400, UNLIKELY)
