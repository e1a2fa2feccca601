"""Spans of fixed pins and the best pins against the independent integrator, for every drag law.

ARROWLOFT_SWEEP=200 in the environment runs that many random set-ups a law instead of a few.
"""

import os

import numpy as np
import pytest

from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.pin_plan import best_pins
from arrowloft.core.sight.pins import pin_spans
from arrowloft.plugin import Registry, guarded_kinks, guarded_law

EDGE = 1e-4
"""Greatest error of a span's edge, m."""

FLOOR = 1e-9
"""What the oracle itself may miss by, m."""

CASES = int(os.environ.get("ARROWLOFT_SWEEP", "2"))

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ARROW = Arrow(mass=0.0233, shaft_diameter=0.0058, length=0.71, balance_point=0.4)

every_law = pytest.mark.parametrize("name", Registry.discover().names("drag"))


def random_shot(name, rng):
    registry = Registry.discover()
    model = registry.build("drag", name, registry.get("drag", name).example)
    return Shot(
        drag=guarded_law(model),
        kinks=guarded_kinks(model),
        arrow=ARROW,
        air=AIR,
        launch_speed=float(rng.uniform(50.0, 95.0)),
        peep_height=float(rng.uniform(0.0, 0.15)),
        launch_forward=float(rng.uniform(0.0, 1.0)),
        tip_lead=float(rng.uniform(0.0, 0.4)),
        slope=float(np.radians(rng.uniform(-50.0, 50.0))),
        wind_speed=float(rng.uniform(0.0, 8.0)),
        wind_from=float(rng.uniform(0.0, 6.28)),
    )


@every_law
def test_edges_of_spans(independent, name):
    """Aimed and flown by the oracle, the arrow meets the zone's edge where its span ends."""
    rng = np.random.default_rng(61)
    for _ in range(CASES):
        shot = random_shot(name, rng)
        pins, zone = rng.uniform([3.0, 20.0, 40.0], [20.0, 40.0, 70.0]), rng.uniform(0.05, 0.4)
        found = pin_spans(shot, pins, float(zone))
        assert found.position_error < 1e-4
        for pin, spans in zip(pins, found.spans, strict=True):
            angle = independent.aim(shot, float(pin)).angle
            inner = [edge for span in spans for edge in span if found.near < edge < found.far]
            assert inner
            for edge in inner:
                before, after = (
                    independent.fly(shot, angle, edge + step).tip[1] for step in (-EDGE, EDGE)
                )
                low, high = sorted((abs(before), abs(after)))
                assert low <= 0.5 * zone <= high


@every_law
def test_the_best_pins(independent, name):
    """They hit at their marks, err as much as is said where it is said, and alike at the seams."""
    rng = np.random.default_rng(67)
    for _ in range(CASES):
        shot = random_shot(name, rng)
        near, far = rng.uniform([4.0, 40.0], [25.0, 75.0])
        plan = best_pins(shot, 3, float(near), float(far))
        within = plan.position_error + FLOOR

        def height(pin, distance, shot=shot, plan=plan):
            angle = float(plan.launch_angle[pin])
            return independent.fly(shot, angle, float(distance)).tip[1]

        for pin in range(3):
            assert height(pin, plan.mark[pin]) == pytest.approx(0.0, abs=within)
            worst = abs(height(pin, plan.service.at[pin]))
            assert worst == pytest.approx(plan.service.worst[pin], abs=2.0 * within)
        for pin, after in ((0, 1), (1, 2)):
            seam = plan.service.spans[pin][-1][1]
            assert abs(height(pin, seam)) == pytest.approx(
                abs(height(after, seam)), abs=2.0 * within
            )


@every_law
def test_no_pins_nearby_are_better(independent, name):
    """Any pin a little higher or lower leaves a greater error somewhere, by the oracle."""
    rng = np.random.default_rng(71)
    shot = random_shot(name, rng)
    near, far = 15.0, 55.0
    plan = best_pins(shot, 2, near, far)
    seam = plan.service.spans[0][0][1]
    # A pin that moves takes the seam along, by about half a metre.
    ways = sorted({near, far, *plan.service.at.tolist(), *(seam + np.linspace(-1.0, 1.0, 9))})

    def worst(angles):
        heights = [
            [abs(independent.fly(shot, angle, way).tip[1]) for way in ways] for angle in angles
        ]
        return float(np.min(heights, axis=0).max())

    best = worst(plan.launch_angle.tolist())
    assert best == pytest.approx(plan.service.worst.max(), rel=1e-4)
    for pin in (0, 1):
        for change in (-1e-3, 1e-3):
            moved = plan.launch_angle.copy()
            moved[pin] += change
            assert worst(moved.tolist()) > 1.02 * best
