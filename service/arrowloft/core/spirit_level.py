"""A spirit level that is itself off: the roll of the bow at which it reads level."""

import numpy as np

from arrowloft.core.arrays import Array, Real


def false_roll(second_axis: Real, third_axis: Real, slope: Real, launch_angle: Real = 0.0) -> Array:
    """Roll of the bow, rad, at which the level on its sight reads level.

    second_axis: the level's error about the arrow's line, e2: on level ground it reads
        level when the bow is rolled by e2; positive, top limb to the right.
    third_axis: the level's error about the bow's upright, e3: positive, its right end is
        turned away from the archer.
    slope: of the line of sight, uphill positive.  launch_angle: arrow's line above it.
    All rad, all broadcast; the result has their shape. Positive roll: top limb right.

    The vial is a line fixed in the bow, whose arrow points forward,

        v = cos(e3) (cos(e2) right + sin(e2) up) + sin(e3) forward,

    and the bow is pitched by the launch angle a about its right, then rolled by b about the
    line of sight. Before the roll v lies, along the line of sight, across it upward and to
    the right, at

        (l, u, w) = (sin(e3) cos(a) - cos(e3) sin(e2) sin(a),
                     sin(e3) sin(a) + cos(e3) sin(e2) cos(a),
                     cos(e3) cos(e2)).

    The roll turns up toward the right: upward it leaves u cos(b) - w sin(b). The vertical is
    (sin(slope), cos(slope), 0), so that v has no vertical component where

        A sin(b) - B cos(b) = C,  A = w cos(slope),  B = u cos(slope),  C = l sin(slope),

    whose root near 0 is b = atan2(B, A) + asin(C / hypot(A, B)).

    With e3 = slope = a = 0, b = e2; with e2 = a = 0, sin(b) = tan(e3) tan(slope).

    ValueError where no roll brings the vial level: the slope is steeper than the vial is
    square to the line of sight.
    """
    along, upward, right = _vial(second_axis, third_axis, launch_angle)
    a, b, c = right * np.cos(slope), upward * np.cos(slope), along * np.sin(slope)
    size = np.hypot(a, b)
    if not np.all(np.abs(c) <= size):
        raise ValueError("no roll of the bow brings its level to read level on this slope")
    # size is 0 only where c is 0 too: a vial that is level at any roll, for which 0 will do.
    share = np.divide(c, size, out=np.zeros(np.broadcast(c, size).shape), where=size > 0.0)
    return np.asarray(np.arctan2(b, a) + np.arcsin(share))


def _vial(second_axis: Real, third_axis: Real, launch_angle: Real) -> tuple[Array, Array, Array]:
    """The vial's direction before the bow is rolled: along the line of sight, up, right."""
    across = np.cos(third_axis)
    right = np.asarray(across * np.cos(second_axis))
    up, forward = across * np.sin(second_axis), np.sin(third_axis)
    sine, cosine = np.sin(launch_angle), np.cos(launch_angle)
    along = np.asarray(forward * cosine - up * sine)
    return along, np.asarray(forward * sine + up * cosine), right
