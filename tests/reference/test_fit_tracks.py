"""Tracked flights against an integrator that shares no equation with the core."""

import numpy as np
import pytest
from fitted_flights import track
from reference_setups import coefficient, recurve
from scipy.integrate import solve_ivp

from arrowloft.core.fitting.fit import fit
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.core.fitting.series import Series
from arrowloft.core.fitting.variants import Variants
from arrowloft.core.fitting.whitened import Unknowns

ANGLE, YAW, CLOCK = 0.06, -0.02, 0.35
TIMES = np.linspace(0.02, 1.1, 9)


def places(independent, shot, of_tip):
    """Balance point or tip at times after the launch, in the frame of the line of sight."""
    flown = solve_ivp(
        independent.rate(shot),
        (0.0, 1.2),
        independent.start(shot, ANGLE, YAW),
        "DOP853",
        t_eval=TIMES,
        rtol=1e-12,
        atol=1e-13,
    )
    states = flown.y.T
    world = [independent.tip(shot, y) if of_tip else y[:3] for y in states]
    return independent.axes(shot) @ np.array(world).T


def of(points):
    """Law, speed, launch angle, yaw and clock: all five unknown."""
    count = points.shape[1]
    return Variants(
        laws=tuple(coefficient(value) for value in points[0]),
        kinks=((),) * count,
        which=np.arange(count),
        speed=points[1:2],
        angle=points[2:3],
        yaw=points[3:4],
        clock=points[4:5],
        sound=np.ones(count, dtype=bool),
    )


@pytest.mark.parametrize("of_tip", [False, True])
def test_all_of_a_flight_is_found_from_its_track(independent, of_tip):
    shot = recurve(
        launch_speed=63.0,
        drag=coefficient(2.3),
        peep_height=0.1,
        launch_forward=0.85,
        tip_lead=0.31,
        wind_speed=3.0,
        wind_from=1.2,
        slope=-0.1,
    )
    seen = track(TIMES + CLOCK, places(independent, shot, of_tip), 0.005, right=True, of_tip=of_tip)
    start = Unknowns(
        start=np.array([1.5, 57.0, 0.0, 0.0, 0.3]),
        low=np.array([0.0, 5.0, -0.8, -0.8, -np.inf]),
        high=np.array([20.0, 200.0, 0.8, 0.8, np.inf]),
        scale=np.array([1.5, 57.0, 0.05, 0.05, 0.1]),
    )
    found = fit(Predictions([Series(shot=shot, track=seen)]), of, start)
    # Twice a micrometre is what a path may be off; the drag feels it most.
    assert found.values == pytest.approx([2.3, 63.0, ANGLE, YAW, CLOCK], rel=1e-6)
    assert found.likelihood.chi_square < 1e-8
    assert found.likelihood.degrees == 27 - 5
