"""Outlines: sizes of known shapes, windows left out, parts joined, patches cut."""

import numpy as np
import pytest

from arrowloft.core.overshoot.outline import (
    ROW,
    Window,
    beyond,
    box,
    ellipse,
    enough_columns,
    hull,
    signed_size,
)

SQUARE = np.array([0.0, 2.0, 2.0, 0.0]), np.array([0.0, 0.0, 3.0, 3.0])  # distance, right


def size(columns):
    """Of a patch of directions, positive when clockwise with up above."""
    across, up = columns.outline()
    return signed_size(up, across)


def parts(columns):
    """Number of stretches of open columns."""
    held = np.concatenate(([False], columns.open))
    return int((held[1:] & ~held[:-1]).sum())


def test_the_size_of_a_rectangle_by_its_sense() -> None:
    """Away from the archer first, then to the right: clockwise from above."""
    assert signed_size(*SQUARE) == pytest.approx(6.0)
    assert signed_size(*(part[::-1] for part in SQUARE)) == pytest.approx(-6.0)


def test_a_box_and_an_ellipse() -> None:
    assert size(box(0.3, 0.2, None)) == pytest.approx(2 * 0.3 * 0.2)
    assert size(ellipse(0.3, 0.2, None)) == pytest.approx(np.pi * 0.3 * 0.2, rel=5e-3)
    across, up = ellipse(0.3, 0.2, None).outline()
    assert ((across / 0.3) ** 2 + (up / 0.2) ** 2).max() <= 1.0 + 1e-9
    assert np.ptp(across) == pytest.approx(0.6) and np.ptp(up) == pytest.approx(0.4)


def test_a_box_that_reaches_below_the_middle() -> None:
    """And one that lies below it, or above it."""
    columns = box(0.3, 0.2, None, down=0.1)
    assert size(columns) == pytest.approx(2 * 0.3 * 0.3)
    _, up = columns.outline()
    assert (up.min(), up.max()) == (-0.1, 0.2)
    assert size(box(0.3, 0.0, None, down=0.1)) == pytest.approx(0.6 * 0.1)
    assert size(box(0.3, 0.2, None, down=-0.05)) == pytest.approx(0.6 * 0.15)
    window = Window(left=-0.1, right=0.05, top=0.08)  # it stops all that is lower
    assert size(box(0.3, 0.2, window, down=0.1)) == pytest.approx(0.6 * 0.3 - 0.15 * 0.18)
    low = box(0.3, 0.0, window, down=0.1)
    assert parts(low) == 2 and size(low) == pytest.approx((0.6 - 0.15) * 0.1)


def test_a_box_less_a_window() -> None:
    """The window reaches down to the lower edge, so a notch is left."""
    window = Window(left=-0.1, right=0.05, top=0.08)
    assert size(box(0.3, 0.2, window)) == pytest.approx(0.6 * 0.2 - 0.15 * 0.08)
    wide = Window(left=-0.5, right=0.05, top=0.08)
    assert size(box(0.3, 0.2, wide)) == pytest.approx(0.6 * 0.2 - 0.35 * 0.08)
    tall = Window(left=-0.1, right=0.05, top=0.3)
    assert size(box(0.3, 0.2, tall)) == pytest.approx((0.6 - 0.15) * 0.2)
    assert parts(box(0.3, 0.2, tall)) == 2
    past = Window(left=0.4, right=0.5, top=0.3)
    assert size(box(0.3, 0.2, past)) == pytest.approx(0.6 * 0.2)


def segment(high):
    """Area of a unit disc above a line at `high` over its middle."""
    return np.arccos(high) - high * np.sqrt(1.0 - high**2)


def test_an_ellipse_less_a_window_over_and_beside() -> None:
    """A unit disc less a window whose corners lie outside: three segments (closed form)."""
    window = Window(left=-0.8, right=0.8, top=0.7)
    columns = ellipse(1.0, 1.0, window)
    assert parts(columns) == 3
    expected = 2.0 * segment(0.8) + segment(0.7)
    assert size(columns) == pytest.approx(expected, rel=2e-2)
    inner = ellipse(1.0, 1.0, Window(left=-0.3, right=0.3, top=0.7))
    x = np.linspace(-0.3, 0.3, 100001)
    notch = np.trapezoid(0.7 + np.sqrt(1.0 - x**2), x)
    assert size(inner) == pytest.approx(np.pi - notch, rel=5e-3)


def test_joining_lines_have_no_width_and_hold_no_extreme() -> None:
    """Two segments beside a window higher than the disc: nothing reaches over its middle."""
    columns = ellipse(1.0, 1.0, Window(left=-0.6, right=0.6, top=2.0))
    across, up = columns.outline()
    assert size(columns) == pytest.approx(2.0 * segment(0.6), rel=5e-3)
    assert up.max() == pytest.approx(0.8)
    assert not (np.abs(across) < 0.6 - 1e-9).any()


def test_a_ceiling() -> None:
    columns = ellipse(1.0, 1.0, None, ceiling=0.5)
    assert size(columns) == pytest.approx(np.pi - segment(0.5), rel=1e-2)
    assert columns.high.max() == 0.5


@pytest.mark.parametrize(
    "columns",
    [
        box(0.3, 0.2, Window(left=-0.4, right=0.4, top=0.25)),
        ellipse(0.3, 0.2, Window(left=-0.3, right=0.3, top=0.25)),
        box(0.0, 0.2, None),
        box(0.3, 0.0, None),
        box(0.3, -0.1, None),
        box(0.3, 0.2, None, down=-0.2),
        box(0.3, 0.2, None, down=-0.3),
        box(0.3, 0.0, Window(left=-0.3, right=0.4, top=0.1), down=0.2),
        ellipse(0.0, 0.2, None),
        ellipse(0.2, 0.0, None),
    ],
)
def test_patches_that_hold_nothing(columns) -> None:
    assert columns.outline()[0].size == 0


def test_edges_are_drawn_by_many_points() -> None:
    """No edge is longer than a fortieth of the patch: ground curves between its corners."""
    across, up = box(0.3, 0.2, Window(left=-0.1, right=0.1, top=0.1)).outline()
    steps = np.hypot(np.roll(across, -1) - across, np.roll(up, -1) - up)
    assert steps.max() < 0.6 / 40.0


def test_a_rectangle_cut_by_a_line() -> None:
    distance, right = beyond(*SQUARE, 0.5)
    assert signed_size(distance, right) == pytest.approx(1.5 * 3.0)
    assert distance.min() == 0.5
    assert beyond(*SQUARE, 2.5)[0].size == 0
    for kept, whole in zip(beyond(*SQUARE, -1.0), SQUARE, strict=True):
        assert np.array_equal(kept, whole)


def test_a_slanting_edge_is_cut_where_it_crosses() -> None:
    triangle = np.array([0.0, 2.0, 0.0]), np.array([0.0, 2.0, 4.0])
    distance, right = beyond(*triangle, 1.0)
    assert signed_size(distance, right) == pytest.approx(1.0)
    assert sorted(right[distance == 1.0]) == pytest.approx([1.0, 3.0])


def test_a_filled_patch_leaves_no_wide_gap_and_nothing_stopped() -> None:
    window = Window(left=-0.1, right=0.05, top=0.08)
    for patch in (box(0.3, 0.2, window, 0.1, enough_columns(0.3)), ellipse(0.3, 0.2, window)):
        bearing, up, apart = patch.filled()
        assert 0.0 < apart <= ROW
        assert not ((bearing > -0.0999) & (bearing < 0.0499) & (up < 0.0799)).any()
        # Every direction of the patch has one of them as near as that.
        outline = np.column_stack(patch.outline())
        tried = np.column_stack((bearing, up))
        assert np.hypot(*(outline[:, None] - tried).transpose(2, 0, 1)).min(axis=1).max() < apart
    stopped = Window(left=-1.0, right=1.0, top=1.0)
    assert box(0.3, 0.2, stopped).filled()[0].size == 0
    tall = Window(left=-0.2, right=0.2, top=1.0)
    bearing, _, apart = box(0.3, 0.2, tall, 0.1, 13).filled()
    assert (np.abs(bearing) >= 0.2 - 1e-12).all() and apart < 0.1


def test_a_hull_has_room_around_every_place() -> None:
    """Of a unit square with a place inside: it, four strips, and an octagon."""
    places = np.array([0.0, 1.0, 1.0, 0.0, 0.5]), np.array([0.0, 0.0, 1.0, 1.0, 0.4])
    room = 0.1
    distance, right = hull(*places, room)
    size = abs(signed_size(distance, right))
    reach = room / np.cos(np.pi / 8)  # of the octagon about a circle
    assert size == pytest.approx(1.0 + 4.0 * reach + 2.0 * np.sqrt(2.0) * reach**2)
    alone, _ = hull(np.zeros(1), np.zeros(1), room)  # a single place is no fault
    assert alone.max() == pytest.approx(reach)
