"""Moments of inertia and balance: closed forms of rods, rings and points."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.core.rigid.body import (
    USUAL_NOCK_SHARE,
    DoesNotBalance,
    Parts,
    body_of,
    estimated_parts,
)


def parts(*rows):
    mass, position, length, radius = np.array(rows, dtype=float).T
    return Parts(mass=mass, position=position, length=length, radius=radius)


def test_a_tube_alone() -> None:
    """m (l^2 / 12 + r^2 / 2) across, m r^2 along, about its middle."""
    found = body_of(parts((0.012, 0.36, 0.72, 0.003)))
    assert (found.mass, found.balance_point) == pytest.approx((0.012, 0.36))
    assert found.transverse_inertia == pytest.approx(0.012 * (0.72**2 / 12 + 0.003**2 / 2))
    assert found.axial_inertia == pytest.approx(0.012 * 0.003**2)


def test_two_points_turn_about_their_balance() -> None:
    """The reduced mass times the distance squared, m1 m2 / (m1 + m2) l^2."""
    found = body_of(parts((0.001, 0.0, 0.0, 0.0), (0.006, 0.7, 0.0, 0.0)))
    assert found.balance_point == pytest.approx(0.6)
    assert found.transverse_inertia == pytest.approx(0.001 * 0.006 / 0.007 * 0.7**2)
    assert found.axial_inertia == 0.0


def test_a_rod_in_two_halves_is_the_rod() -> None:
    whole = body_of(parts((0.01, 0.4, 0.8, 0.003)))
    halves = body_of(parts((0.005, 0.2, 0.4, 0.003), (0.005, 0.6, 0.4, 0.003)))
    assert vars(halves) == pytest.approx(vars(whole))


arrows = {
    "mass": st.floats(0.005, 0.05),
    "length": st.floats(0.5, 0.9),
    "balance": st.floats(0.45, 0.65),
}


@given(**arrows)
def test_estimated_parts_weigh_and_balance_as_the_arrow(mass, length, balance) -> None:
    asked = {"mass": mass, "length": length, "balance_point": balance * length}
    found = estimated_parts(**asked, diameter=0.006)
    whole = body_of(found)
    assert whole.mass == pytest.approx(mass)
    assert whole.balance_point == pytest.approx(balance * length)
    nock, shaft, point = found.mass
    assert nock >= USUAL_NOCK_SHARE * mass * (1.0 - 1e-12) and point >= 0.0 and shaft > 0.0
    # Known from its ends: the sum of rod and points about the balance point.
    across = shaft * (length**2 / 12 + (length / 2 - balance * length) ** 2)
    across += point * (length - balance * length) ** 2 + nock * (balance * length) ** 2
    assert whole.transverse_inertia == pytest.approx(across, rel=3e-4)


def test_a_known_point_decides_the_nock() -> None:
    asked = {"mass": 0.02, "length": 0.72, "balance_point": 0.43, "diameter": 0.0055}
    nock, _, point = estimated_parts(**asked, point_mass=0.006).mass
    assert point == pytest.approx(0.006)
    assert nock == pytest.approx(0.006 - 0.02 * (2 * 0.43 / 0.72 - 1))
    free = body_of(estimated_parts(**asked))
    again = body_of(estimated_parts(**asked, point_mass=0.02 * (0.06 + 2 * 0.43 / 0.72 - 1)))
    assert vars(again) == pytest.approx(vars(free))


def test_a_gram_more_at_both_ends_adds_a_sixth() -> None:
    asked = {"mass": 0.02, "length": 0.72, "balance_point": 0.43, "diameter": 0.0055}
    few, many = (
        body_of(estimated_parts(**asked, point_mass=mass)).transverse_inertia
        for mass in (0.0051, 0.0061)
    )
    assert many - few == pytest.approx(0.001 * 0.72**2 / 3, rel=1e-3)
    assert 0.1 < (many - few) / few < 0.2


@pytest.mark.parametrize("point", [0.001, 0.018])
def test_masses_below_nothing_are_refused(point) -> None:
    """A point too light for the balance wants a nock below nothing, one too heavy such a shaft."""
    with pytest.raises(DoesNotBalance):
        estimated_parts(
            mass=0.02, length=0.72, balance_point=0.43, diameter=0.0055, point_mass=point
        )


@pytest.mark.parametrize(
    "rows",
    [
        [(0.0, 0.1, 0.0, 0.0)],
        [(np.nan, 0.1, 0.0, 0.0)],
        [(0.01, np.inf, 0.0, 0.0)],
        [(0.01, 0.1, -0.1, 0.0)],
        [(0.01, 0.1, 0.0, np.nan)],
    ],
)
def test_impossible_parts_are_refused(rows) -> None:
    with pytest.raises(ValueError):
        parts(*rows)
    with pytest.raises(ValueError):
        Parts(mass=np.ones(2), position=np.ones(1), length=np.ones(1), radius=np.ones(1))
