"""The error budget held against DOP853: differences of its flights, extrapolated by Richardson.

Every input is put off in the oracle's own terms: launch conditions in the world frame, the
eye and the pin as points of the bow, winds as vectors. 1e-6 of each shift is required.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import root
from scipy.spatial.transform import Rotation

from arrowloft.core.chances.budget_inputs import Draw, click_input, draw_input, usual_inputs
from arrowloft.core.chances.error_budget import error_budget
from arrowloft.core.setup.air import air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot
from arrowloft.plugin import Registry, guarded_kinks, guarded_law

REQUIRED = 1e-6
"""Greatest error of a shift per unit, as a share of it."""

ORACLE = 1e-11
"""What neighbouring flights of the oracle may differ by beside their true difference, m."""

RADIUS, CLICK, DRAW = 0.86, 1e-4, 0.72
AIR = air(temperature=285.0, pressure=98_500.0, relative_humidity=0.6)[0]
ARROW = Arrow(mass=0.021, shaft_diameter=0.0055, length=0.72, balance_point=0.41)


def by_energy(mass):
    """40 J shared with 5 g of the string's."""
    return np.sqrt(2.0 * 40.0 / (mass + 0.005))


def by_stroke(draw):
    """In proportion to the way of the string."""
    return 57.0 * (draw - 0.25) / (DRAW - 0.25)


def shot_of(name, **changes):
    """A shot with an installed drag model and its example parameters."""
    registry = Registry.discover()
    model = registry.build("drag", name, registry.get("drag", name).example)
    values = {
        "launch_speed": float(by_energy(ARROW.mass)),
        "peep_height": 0.115,
        "launch_forward": 0.9,
        "tip_lead": 0.31,
    }
    return Shot(
        arrow=ARROW,
        drag=guarded_law(model),
        kinks=guarded_kinks(model),
        air=AIR,
        **{**values, **changes},
    )


OWN_SPEEDS = {"mass": float(by_energy(ARROW.mass)), "draw_length": float(by_stroke(DRAW))}
"""What the laws of mass and draw length give where nothing is off: the shot's own speed."""

WINDY = {"wind_speed": 4.0, "wind_from": 1.0, "slope": 0.35}
CASES = pytest.mark.parametrize(
    ("law", "changes", "distance"),
    [
        ("constant", {}, 18.0),
        ("constant", WINDY, 70.0),
        ("component", {"wind_speed": 6.0, "wind_from": 4.0, "slope": -0.6}, 45.0),
        ("two-speed", WINDY, 45.0),
        ("table", WINDY, 45.0),
        ("constant", {"launch_speed": 85.0, "gravity": 9.78}, 90.0),
    ],
)


def inputs_of(shot):
    draw = Draw(speed=by_stroke, length=DRAW, carries=True)
    usual = usual_inputs(shot, RADIUS, by_energy)
    return usual | {"draw_length": draw_input(RADIUS, draw), "click": click_input(RADIUS, CLICK)}


def turned(axis, angle):
    return Rotation.from_rotvec(angle * np.asarray(axis))


class Oracle:
    """Where the tip meets the target of one mark with one input off: (up, right), m."""

    def __init__(self, independent, shot, angle, distance):
        self.module, self.shot, self.angle, self.distance = independent, shot, angle, distance

    def met(self, shot=None, rise=0.0, yaw=0.0, farther=0.0):
        """rise: of the pin's angle, as a tangent."""
        angle = np.arctan(np.tan(self.angle) + rise)
        return self.fly(shot or self.shot, angle, yaw, self.distance + farther)

    def fly(self, shot, angle, yaw, distance):
        return self.module.fly(shot, angle, distance, yaw).tip[1:]

    def started(self, place, velocity):
        """From any place and velocity in the world, to the plane of the mark."""
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(self.module, "start", lambda *_: np.concatenate((place, velocity)))
            return self.met()

    def speed(self, x):
        return self.met(self.shot.with_(launch_speed=self.shot.launch_speed + x))

    def mass(self, x):
        arrow = replace(ARROW, mass=ARROW.mass + x)
        return self.met(self.shot.with_(arrow=arrow, launch_speed=by_energy(arrow.mass)))

    def drag(self, x):
        return self.met(self.shot.with_(drag_scale=1.0 + x))

    def peep_height(self, x):
        return self.met(self.shot.with_(peep_height=self.shot.peep_height + x), x / RADIUS)

    def anchor_sideways(self, x):
        """The bow as points: the nock below and beside the eye, the pin ahead; turned until
        the pin is on the line of sight."""
        shot, (_, above, right) = self.shot, self.module.axes(self.shot)
        pin_height = shot.peep_height - RADIUS * np.tan(self.angle)

        def bow(turn):
            """Arrow's line, bow's up and bow's right in the world."""
            pitch, yaw = turn
            line = Rotation.from_rotvec([0.0, 0.0, shot.slope + pitch]).apply([1.0, 0.0, 0.0])
            up = np.cross([0.0, 0.0, 1.0], line)
            way = turned(np.array([0.0, 1.0, 0.0]), -yaw)  # the bow stays level
            return way.apply(line), way.apply(up), way.apply([0.0, 0.0, 1.0])

        def pin_off(turn):
            line, up, side = bow(turn)
            nock = -shot.peep_height * up - x * side
            pin = nock + RADIUS * line + pin_height * up
            return pin @ above, pin @ right

        line, up, side = bow(root(pin_off, (self.angle, 0.0), tol=1e-14).x)
        place = -shot.peep_height * up - x * side + shot.launch_forward * line
        return self.started(place, shot.launch_speed * line)

    def torque(self, x):
        return self.met(yaw=x)

    def roll(self, x):
        return self.met(self.shot.with_(roll=x))

    def aim_up(self, x):
        return self.swung([0.0, 0.0, x])

    def aim_right(self, x):
        return self.swung([0.0, -x / np.cos(self.shot.slope), 0.0])

    def swung(self, rotation):
        """Archer and bow turned about the eye as one."""
        state = self.module.start(self.shot, self.angle).reshape(2, 3)
        return self.started(*Rotation.from_rotvec(rotation).apply(state))

    def range(self, x):
        return self.met(farther=x)

    def slope(self, x):
        return self.met(self.shot.with_(slope=self.shot.slope + x))

    def wind_along(self, x):
        return self.blown([x, 0.0, 0.0])

    def wind_across(self, x):
        return self.blown([0.0, 0.0, x])

    def blown(self, more):
        with pytest.MonkeyPatch.context() as patch:
            moving = self.module.wind(self.shot) + more
            patch.setattr(self.module, "wind", lambda _: moving)
            return self.met()

    def temperature(self, x):
        return self.in_air(temperature=AIR.temperature + x, pressure=AIR.pressure)

    def pressure(self, x):
        return self.in_air(temperature=AIR.temperature, pressure=AIR.pressure + x)

    def in_air(self, **state):
        return self.met(self.shot.with_(air=air(relative_humidity=0.6, **state)[0]))

    def draw_length(self, x):
        """The pin stays on the bow while the eye goes back from it."""
        shot = self.shot
        drawn = shot.with_(
            launch_speed=float(by_stroke(DRAW + x)), launch_forward=shot.launch_forward + x
        )
        pin_below_eye = RADIUS * np.tan(self.angle)
        angle = np.arctan2(pin_below_eye, RADIUS + x)
        return self.fly(drawn, angle, 0.0, self.distance)

    def click(self, x):
        return self.met(rise=x * CLICK / RADIUS)


def extrapolated(of, step):
    """Derivative at 0 by Richardson: central differences over h, h/2, h/4 to sixth order."""
    table = [(of(h) - of(-h)) / (2.0 * h) for h in (step, step / 2.0, step / 4.0)]
    for order in (4.0, 16.0):
        table = [(order * b - a) / (order - 1.0) for a, b in pairwise(table)]
    return table[0]


@CASES
def test_every_input(independent, law, changes, distance):
    shot = shot_of(law, **changes)
    for name, item in inputs_of(shot).items():
        own = shot.with_(launch_speed=OWN_SPEEDS.get(name, shot.launch_speed))
        budget = error_budget(own, np.array([distance]), {name: item})
        found = np.array([budget.up[0, 0], budget.right[0, 0]])
        oracle = Oracle(independent, own, independent.aim(own, distance).angle, distance)
        # Deltas other than the core's own.
        true = extrapolated(getattr(oracle, name), 2.9 * item.step)
        missed, noise = np.hypot(*(found - true)), ORACLE / item.step
        assert missed <= REQUIRED * np.hypot(*true) + noise, name
        assert missed <= budget.error[0, 0] + noise, f"{name}: the estimate does not cover it"


@pytest.mark.parametrize("law", ["constant", "transition", "table"])
def test_one_batch_is_every_input_and_distance_by_itself(law):
    shot, distances = shot_of(law, **WINDY), np.array([70.0, 20.0, 45.0])
    inputs = inputs_of(shot)
    together = error_budget(shot, distances, inputs)
    for row, (name, item) in enumerate(inputs.items()):
        for at, distance in enumerate(distances):
            alone = error_budget(shot, np.array([distance]), {name: item})
            size = np.hypot(alone.up[0, 0], alone.right[0, 0])
            within = max(REQUIRED * size, 1e-11 / item.step)
            assert together.up[row, at] == pytest.approx(alone.up[0, 0], abs=within)
            assert together.right[row, at] == pytest.approx(alone.right[0, 0], abs=within)
