"""Calibrations of published shooting: Klopsteg's table of creep, Tuijn and Kooi's repeatability.

P. E. Klopsteg, The Effect on Scores of Errors in Aiming and Holding, Table III (published): a
bow of 150 ft/s that creeps by 1/2 in, the launch angle being the same, shoots 5.9, 9.4, 13.5
and 24.5 in low at 40, 50, 60 and 80 yd; by 3/4 in 8.8, 13.8, 20.0 and 36.8 in. Speed in
proportion to the draw, of 21 in (Hickman, quoted by Klopsteg; published), makes of that
20.5 / 21 x 150 = 146.4 or, as he rounds it, 146.5 ft/s, and 20.25 / 21 x 150 = 144.6 ft/s.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import (
    YARD,
    ends,
    marks,
    only,
    plain_shot,
    scatter,
    seen,
    sight,
    unknowns,
    vacuum,
)

from arrowloft.core.learning.calibration import calibrate
from arrowloft.core.learning.corrected_marks import corrected_marks
from arrowloft.core.learning.observations import SpeedReading
from arrowloft.core.learning.unknowns import SPEED

INCH, FOOT = 0.0254, 0.3048
DISTANCES = np.array([40.0, 50.0, 60.0, 80.0]) * YARD
HALF_INCH = np.array([5.9, 9.4, 13.5, 24.5])
THREE_QUARTERS = np.array([8.8, 13.8, 20.0, 36.8])
ROUNDED = 0.05  # in, the table's last digit
SHOT = plain_shot(
    drag=vacuum, launch_speed=150 * FOOT, peep_height=0.0, launch_forward=0.0, tip_lead=0.0
)
AT_THE_EYE = sight(zero_distance=0.11)
"""Its zero mark hardly depends on the speed: the launch angle is the same within 1/300."""
SPEED_ONLY = only("speed", speed=150 * FOOT, speed_uncertainty=0.2, peep_height=0.0)


def crept(low, by=AT_THE_EYE):
    """Ends shot with the marks of 150 ft/s that land as the table says."""
    several = ends(SHOT, marks(SHOT, by, DISTANCES), -low * INCH)
    return [replace(end, uncertainty=ROUNDED * INCH / math.sqrt(3.0)) for end in several]


def test_predictions_of_the_slower_bow_are_the_table():
    low = seen(SHOT, AT_THE_EYE, crept(HALF_INCH), unknowns(speed=146.5 * FOOT, peep_height=0.0))
    # The launch angle quite the same, by hand: 6.02, 9.44, 13.67, 24.64 in.
    assert -low / INCH == pytest.approx([6.02, 9.44, 13.67, 24.64], rel=5e-3)
    assert -low / INCH == pytest.approx(HALF_INCH, rel=0.02)


def test_arrows_of_the_table_are_those_of_146_5_ft_s():
    fit = calibrate(SHOT, AT_THE_EYE, SPEED_ONLY, crept(HALF_INCH), scatter())
    # The speed is rounded to 0.05 ft/s; a row's 0.05 in is 0.03 ft/s at 40 yd, less beyond.
    assert fit.values[SPEED] / FOOT == pytest.approx(146.5, abs=0.05 + 0.03)
    # All rows agree on it within the table's last digit, and a little for the speed's.
    assert np.abs(fit.residuals / INCH).max() < 1.5 * ROUNDED
    each = [
        calibrate(SHOT, AT_THE_EYE, SPEED_ONLY, [end], scatter()).values[SPEED] / FOOT
        for end in crept(HALF_INCH)
    ]
    assert each == pytest.approx([146.5] * 4, abs=0.05 + 0.03)


def test_a_zero_put_off_by_the_creep_is_told_from_it():
    # The zero at 20 yd, sighted in before the bow crept: its pin stands too high for the slow
    # arrows, by the radius times the change of g D0 / (2 v^2).
    before = only(
        "speed", "zero", speed=150 * FOOT, speed_uncertainty=0.2, zero_uncertainty=0.1,
        peep_height=0.0,
    )  # fmt: skip
    by = sight()
    fit = calibrate(SHOT, by, before, crept(HALF_INCH, by), scatter())
    assert fit.values[SPEED] / FOOT == pytest.approx(146.5, abs=0.1)
    zero = corrected_marks(fit, SHOT, by, DISTANCES).zero_error
    half_pull = 0.5 * SHOT.gravity * 20 * YARD / FOOT**2
    too_high = 0.86 * half_pull * (146.5**-2.0 - 150.0**-2.0)
    assert zero == pytest.approx(too_high, rel=0.1)


def test_the_other_column_wants_a_little_more_speed():
    # 7 % less low than 144.64 ft/s would shoot (measured here): the column disagrees with it.
    fit = calibrate(SHOT, AT_THE_EYE, SPEED_ONLY, crept(THREE_QUARTERS), scatter())
    low = seen(
        SHOT,
        AT_THE_EYE,
        crept(THREE_QUARTERS),
        unknowns(speed=20.25 / 21 * 150 * FOOT, peep_height=0.0),
    )
    assert -low / INCH / THREE_QUARTERS == pytest.approx(np.full(4, 1.06), abs=0.02)
    assert fit.values[SPEED] / FOOT == pytest.approx(20.25 / 21 * 150, abs=0.3)


def test_what_the_repeatability_of_a_bow_leaves_of_its_marks():
    """Speed repeats to 0.2 % (s.d.; Tuijn and Kooi, Eur. J. Phys. 13 (1992) 127-134)."""
    error = 0.002 * 150 * FOOT
    readings = [
        SpeedReading(shot=SHOT, distance=0.11, speed=(150.0 + off) * FOOT, uncertainty=error)
        for off in (-0.3, 0.2, 0.4, -0.4, 0.1)
    ]
    fit = calibrate(SHOT, AT_THE_EYE, SPEED_ONLY, readings, scatter())
    assert fit.values[SPEED] / FOOT == pytest.approx(150.0, abs=1e-2)
    share = 0.002 / math.sqrt(5.0)
    assert fit.uncertainties[SPEED] / fit.values[SPEED] == pytest.approx(share, rel=1e-3)
    # By the table 3.5 ft/s are so many inches; a small change counts for 3.5 % less each,
    # as the drop goes with 1 / v^2 (1 - 1.5 x 3.5 / 150).
    found = corrected_marks(fit, SHOT, AT_THE_EYE, DISTANCES)
    expected = HALF_INCH * INCH * 0.965 * share * 150.0 / 3.5
    assert found.height_uncertainty == pytest.approx(expected, rel=0.025)
