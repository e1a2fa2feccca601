"""What may be off at a shot: each input of the error budget, and what it does to an arrow.

The marks are kept: the pin stays where the mark of the distance has it, fixed to the bow,
and is held on the aim point. Then one input is off by some delta. Each change here gives
the arrows that are loosed so, one lane a delta.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.setup.air import air
from arrowloft.core.setup.shot import Shot


@dataclass(frozen=True, kw_only=True)
class Loosed:
    """Arrows as they leave the string, lane by lane; SI.

    shot: what flies.  launch_angle, yaw: of the arrow's line, as in `impacts`.
    distance: of the plane that the tip must meet, from the origin of the flight, m.
    right: how far that origin lies to the right of the eye, in that plane, m.
    """

    shot: Shot
    launch_angle: Array
    distance: Array
    yaw: Real = 0.0
    right: Real = 0.0

    def of(self, **changes: Real) -> "Loosed":
        """The same arrows with some members of the shot changed."""
        return replace(self, shot=self.shot.with_(**changes))


Change: TypeAlias = Callable[[Loosed, Array], Loosed]
"""(arrows loosed with the marks, deltas (lanes,)) -> the arrows loosed with the input off."""


@dataclass(frozen=True, kw_only=True)
class Input:
    """One input of the budget.

    change: what a delta does.
    step: delta, in the input's SI unit, for which the shift is still nearly a straight line.
    widens: whether it differs from arrow to arrow; what stays as it is through an end moves
        the whole group and does not widen it.
    scatter: standard deviation of the delta; None: not known.
    """

    change: Change
    step: float
    widens: bool = True
    scatter: float | None = None


@dataclass(frozen=True, kw_only=True)
class Draw:
    """How the draw length acts.

    speed: draw lengths (lanes,), m -> launch speeds, m/s.  length: the draw length, m.
    carries: whether the place where the arrow leaves the string follows from it.
    """

    speed: Callable[[Array], Array]
    length: float
    carries: bool


CLICK_ROUNDING = 1.0 / np.sqrt(12.0)
"""Standard deviation of rounding to whole clicks, in clicks: even over half a click each way."""

SPEED_SCATTER = 0.002
"""Standard deviation of a bow's speed from shot to shot, as a share of it (Tuijn and Kooi,
Eur. J. Phys. 13 (1992) 127-134, published, four recurve bows shot by a machine)."""


def usual_inputs(
    shot: Shot, radius: float, mass_speed: Callable[[Array], Array] | None
) -> dict[str, Input]:
    """The inputs that every shot has, by name; every member of the shot is a float.

    radius: pin ahead of the eye, m.  mass_speed: arrow masses (lanes,), kg -> launch speeds,
    m/s; None: the launch speed is kept.
    """
    pressure = float(shot.air.pressure)
    return {
        "speed": Input(change=_speed, step=0.004 * float(shot.launch_speed)),
        "mass": Input(change=_mass(mass_speed), step=0.01 * float(shot.arrow.mass)),
        "drag": Input(change=_drag, step=0.1),
        "peep_height": Input(change=_peep_height(radius), step=0.005),
        "anchor_sideways": Input(change=_anchor_sideways(radius), step=0.005),
        "torque": Input(change=_torque, step=0.005),
        "roll": Input(change=_roll, step=0.02),
        "aim_up": Input(change=_aim_up, step=0.005),
        "aim_right": Input(change=_aim_right, step=0.005),
        # Three steps of it leave the nearest plane ahead of the launched tip.
        "range": Input(change=_range, step=0.03, widens=False),
        "slope": Input(change=_slope, step=0.02, widens=False),
        "wind_along": Input(change=_wind(1.0, 0.0), step=0.25),
        "wind_across": Input(change=_wind(0.0, 1.0), step=0.25),
        "temperature": Input(change=_air(1.0, 0.0), step=1.0, widens=False),
        "pressure": Input(change=_air(0.0, 1.0), step=0.01 * pressure, widens=False),
    }


def click_input(radius: float, travel: float) -> Input:
    """One click of the elevation screw, pin down positive; travel: of one click, m.

    tan(a') = tan(a) + t / r: the pin sinks by t over the arrow's line.
    """

    def change(held: Loosed, clicks: Array) -> Loosed:
        return replace(held, launch_angle=_raised(held.launch_angle, clicks * travel / radius))

    return Input(change=change, step=0.005 / travel, widens=False, scatter=CLICK_ROUNDING)


def draw_input(radius: float, draw: Draw) -> Input:
    """Draw length: the bow stands farther from the eye, and with it the pin, by the delta.

    The launch speed follows from the new draw length. The pin keeps its height over the
    arrow's line, tan(a') = tan(a) r / (r + x), and the arrow leaves the string x farther
    ahead of the eye where that place follows from the draw length.
    """

    def change(held: Loosed, longer: Array) -> Loosed:
        forward = held.shot.launch_forward + (longer if draw.carries else 0.0)
        loosed = held.of(launch_speed=draw.speed(draw.length + longer), launch_forward=forward)
        # Heights over the eye's parallel to the arrow's line: the peep does not move.
        angle = np.arctan(np.tan(held.launch_angle) * radius / (radius + longer))
        return replace(loosed, launch_angle=angle)

    return Input(change=change, step=0.002)


def _raised(launch_angle: Array, rise: Array) -> Array:
    """The launch angle whose tangent is greater by `rise`."""
    angle: Array = np.arctan(np.tan(launch_angle) + rise)
    return angle


def _speed(held: Loosed, faster: Array) -> Loosed:
    return held.of(launch_speed=held.shot.launch_speed + faster)


def _mass(speed: Callable[[Array], Array] | None) -> Change:
    def change(held: Loosed, heavier: Array) -> Loosed:
        arrow = replace(held.shot.arrow, mass=held.shot.arrow.mass + heavier)
        loosed = replace(held, shot=held.shot.with_(arrow=arrow))
        if speed is None:
            return loosed
        return loosed.of(launch_speed=speed(np.asarray(arrow.mass)))

    return change


def _drag(held: Loosed, more: Array) -> Loosed:
    """The drag area greater by a share; the arrow is as fast as ever when it leaves the string."""
    return held.of(drag_scale=held.shot.drag_scale * (1.0 + more))


def _peep_height(radius: float) -> Change:
    """The eye higher over the arrow's line: tan(a') = tan(a) + x / r, as in `held_angle`."""

    def change(held: Loosed, higher: Array) -> Loosed:
        loosed = held.of(peep_height=held.shot.peep_height + higher)
        return replace(loosed, launch_angle=_raised(held.launch_angle, higher / radius))

    return change


def _anchor_sideways(radius: float) -> Change:
    """The eye to the right of the bow's plane by x, the bow level.

    From the eye the pin lies r along the arrow's line, r tan(a) below it and x to the left;
    that is the line of sight, seen from which the bow is turned to the right by psi,
    tan(psi) = x cos(a) / r, as if archer and bow held that far aside. The flight starts
    from the bow's plane, x to the left of the eye along the bow's own right, which is
    (-sin(e) cos(f), sin(e) sin(f), cos(e)) as in `_aim_right`.
    """

    def change(held: Loosed, aside: Array) -> Loosed:
        turned = np.arctan(aside * np.cos(held.launch_angle) / radius)
        slope = held.shot.slope
        about = turned / np.cos(slope)
        distance = held.distance - aside * np.sin(about) * np.cos(slope)
        return replace(_aim_right(held, turned), distance=distance, right=-aside * np.cos(about))

    return change


def _torque(held: Loosed, turned: Array) -> Loosed:
    """The arrow's line yawed right about the perpendicular of the line of sight."""
    return replace(held, yaw=turned)


def _roll(held: Loosed, rolled: Array) -> Loosed:
    return held.of(roll=held.shot.roll + rolled)


def _aim_up(held: Loosed, higher: Array) -> Loosed:
    """The line of sight held above the aim point: all turns about the eye."""
    return replace(held, launch_angle=held.launch_angle + higher)


def _aim_right(held: Loosed, aside: Array) -> Loosed:
    """The line of sight held to the right of the aim point, the bow still level.

    Archer and bow turn about the vertical by e = x / cos(f), f the slope, which turns the
    line of sight by x. Told as a pitch, a yaw and a roll of the bow in the frame of the
    old line of sight, whose bow's right becomes (-sin(e) cos(f), sin(e) sin(f), cos(e)):

        sin(yaw) = sin(e) cos(f),  tan(roll) = -tan(e) sin(f),
        tan(pitch) = (cos(e) cos(f) sin(f + a) - sin(f) cos(f + a))
                     / (cos(e) cos(f) cos(f + a) + sin(f) sin(f + a))
    """
    slope, rises = held.shot.slope, held.shot.slope + held.launch_angle
    level, climb = np.cos(slope), np.sin(slope)
    turned = aside / level
    ahead = np.cos(turned) * level
    pitch = np.arctan2(
        ahead * np.sin(rises) - climb * np.cos(rises), ahead * np.cos(rises) + climb * np.sin(rises)
    )
    yaw = np.arcsin(np.sin(turned) * level)
    loosed = held.of(roll=held.shot.roll - np.arctan(np.tan(turned) * climb))
    return replace(loosed, launch_angle=pitch, yaw=yaw)


def _range(held: Loosed, farther: Array) -> Loosed:
    """The target stands farther along the line of sight than the mark is for."""
    return replace(held, distance=held.distance + farther)


def _slope(held: Loosed, steeper: Array) -> Loosed:
    """The line of sight rises more than the mark is for."""
    return held.of(slope=held.shot.slope + steeper)


def _wind(along: float, across: float) -> Change:
    """More wind from behind (along) or from the left (across), added as a vector."""

    def change(held: Loosed, more: Array) -> Loosed:
        speed, comes_from = held.shot.wind_speed, held.shot.wind_from
        ahead = -speed * np.cos(comes_from) + along * more
        right = -speed * np.sin(comes_from) + across * more
        return held.of(wind_speed=np.hypot(ahead, right), wind_from=np.arctan2(-right, -ahead))

    return change


def _air(warmer: float, denser: float) -> Change:
    """Warmer air, or air of more pressure, its relative humidity kept.

    Density, viscosity and speed of sound follow; the launch speed does not.
    """

    def change(held: Loosed, more: Array) -> Loosed:
        now = held.shot.air
        state, _ = air(
            temperature=now.temperature + warmer * more,
            pressure=now.pressure + denser * more,
            relative_humidity=now.relative_humidity + 0.0 * more,
        )
        return replace(held, shot=held.shot.with_(air=state))

    return change
