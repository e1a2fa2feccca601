"""Zones and faces: rings, points, lines touched, and what is refused."""

import pytest

from arrowloft.core.chances.zones import Face, Zone


def test_a_circle_is_an_ellipse_of_one_radius() -> None:
    assert Zone.circle(0.1) == Zone(half_height=0.1, half_width=0.1, round=True)


@pytest.mark.parametrize(("height", "width"), [(0.0, 1.0), (1.0, -1.0), (float("nan"), 1.0)])
def test_a_zone_without_size_is_refused(height, width) -> None:
    with pytest.raises(ValueError, match="positive"):
        Zone(half_height=height, half_width=width)


def test_ten_rings_of_one_width() -> None:
    """World Archery, Rulebook, Book 2 (from memory): rings of a 122 cm face are 6.1 cm wide,
    the ten is 12.2 cm across and the inner ten 6.1 cm."""
    face = Face.of_ten_rings(1.22)
    assert face.points == tuple(range(1, 11))
    assert face.radii == pytest.approx([0.061 * ring for ring in range(10, 0, -1)])
    assert face.inner == pytest.approx(0.0305)


def test_a_face_cut_to_its_middle_rings() -> None:
    """World Archery (from memory): an 80 cm face of rings 6 to 10 is 40 cm across."""
    face = Face.of_ten_rings(0.80, lowest=6)
    assert face.points == (6.0, 7.0, 8.0, 9.0, 10.0)
    assert face.radii[0] == pytest.approx(0.20)
    assert Face.of_ten_rings(0.4, lowest=10).radii == pytest.approx((0.02,))


def test_a_touched_line_counts() -> None:
    face = Face.of_ten_rings(0.80, lowest=9, touch=0.003)
    assert [zone.half_width for zone in face.zones] == pytest.approx([0.083, 0.043])
    assert all(zone == Zone.circle(zone.half_height) for zone in face.zones)


def test_steps_add_up_to_the_points() -> None:
    face = Face(radii=(0.3, 0.2, 0.1), points=(2.0, 3.5, 11.0))
    assert face.steps == (2.0, 1.5, 7.5)
    assert Face.of_ten_rings(0.6, lowest=5).steps == (5.0, 1.0, 1.0, 1.0, 1.0, 1.0)


@pytest.mark.parametrize(
    ("radii", "points"),
    [
        ((), ()),
        ((0.1, 0.2), (1.0, 2.0)),
        ((0.2, 0.1), (2.0, 1.0)),
        ((0.2, 0.2), (1.0, 2.0)),
        ((0.2, 0.1), (1.0, 1.0)),
        ((0.2, 0.0), (1.0, 2.0)),
        ((0.2, 0.1), (1.0,)),
    ],
)
def test_rings_out_of_order_are_refused(radii, points) -> None:
    with pytest.raises(ValueError, match=r"rings|argument"):
        Face(radii=radii, points=points)
