"""What pictures of a path say, beside what they show and to those who cannot see them."""

from collections.abc import Sequence

import numpy as np

from arrowloft.core.flight.scene import Flown
from arrowloft.core.path.scene import Passed, Scene, UnderHousing
from arrowloft.pictures.over_distance import wind_in_words
from arrowloft.pictures.quantities import Quantities, boxed, digits, readable

CAUTION = (
    "This is a model's path, not a measured one: prove it by shooting where every arrow comes down "
    "safely."
)

BALANCE = (
    "The line is the path of the arrow's balance point; its tip, which leads it, is where it hits."
)

_LEVEL = 1e-4
"""Slope of the line of sight from which on it is said, rad."""

_LONG = 20.0
"""Height or way aside from which on it is told in the unit of distances, m."""

_SMALL = 1e-3
"""Drift from which on it is said, m."""

_RARE = 0.005
"""Chance of touching below which none is named."""

_ENDS = {"bottom": "below", "top": "over", "left": "left of", "right": "right of"}
"""Nearest edge -> on which side of the obstacle the arrow passes."""


def dimension(metres: float) -> str:
    """Whose unit a height or a way aside is told in."""
    return "distance" if abs(metres) >= _LONG else "length"


def _way(metres: float, figures: Quantities) -> str:
    return figures.text(abs(metres), dimension(metres))


def title(flown: Flown, figures: Quantities, *, obstacles: bool) -> str:
    """What is drawn."""
    if flown.target is None:
        return f"The path of an arrow loosed at {figures.text(flown.launch_angle, 'angle')}"
    if obstacles:
        return f"What the arrow passes on its way to {figures.text(flown.target, 'distance')}"
    return f"The path of an arrow to {figures.text(flown.target, 'distance')}"


def subtitle(flown: Flown, figures: Quantities) -> list[str]:
    """The shot, and how the line of sight is drawn."""
    shot = flown.shot
    speed = figures.text(float(shot.launch_speed), "speed")
    text = f"Arrow of {figures.text(float(shot.arrow.mass), 'mass')}, launched at {speed}"
    if float(shot.wind_speed):
        text += f", in {wind_in_words(figures, float(shot.wind_speed), float(shot.wind_from))}"
    slope = float(shot.slope)
    line = "The line of sight is level."
    if abs(slope) >= _LEVEL:
        way = "rises" if slope > 0.0 else "falls"
        line = (
            f"The line of sight {way} by {figures.text(abs(slope), 'angle')} and is drawn "
            "straight across: heights are measured perpendicular to it."
        )
    return [f"{text}. {line}"]


def scale(times: float, what: str) -> str:
    """How much larger heights, or ways aside, are drawn than distances."""
    if abs(times - 1.0) < 0.02:
        return f"{what} and distances to one scale"
    return f"{what} drawn {digits(times, 2)} times as large as distances"


def highest(flown: Flown) -> str:
    """What the highest point is called: no apex where the path still rises at its end."""
    return "apex" if flown.descent_angle <= 0.0 else "highest point, at the end"


def apex(flown: Flown, figures: Quantities) -> str:
    """Where the path is highest over the line of sight."""
    way = figures.text(flown.apex_distance, "distance")
    side = "under" if flown.apex_height < 0.0 else "over"
    return f"{_way(flown.apex_height, figures)} {side} the line of sight, at {way}"


def arrival(flown: Flown, figures: Quantities) -> str:
    """How it comes to its end."""
    angle, way = flown.descent_angle, "falling" if flown.descent_angle <= 0.0 else "rising"
    return f"{way} by {figures.text(abs(angle), 'angle')} to the line of sight"


def drift(flown: Flown, figures: Quantities) -> str:
    """How far aside its tip comes to the end."""
    if abs(flown.drift) < _SMALL:
        return "its tip comes to the middle"
    side = "right" if flown.drift > 0.0 else "left"
    return f"its tip comes {_way(flown.drift, figures)} to the {side}"


def margin(one: Passed, figures: Quantities) -> str:
    """Whether an obstacle is touched, and by how much."""
    space = _way(one.margin, figures)
    return f"clear by {space}" if one.margin > 0.0 else f"touches by {space}"


def passed(one: Passed, figures: Quantities) -> str:
    """How an obstacle is passed."""
    way = figures.text(one.distance, "distance")
    side = f", {_ENDS[one.edge]} it" if one.margin > 0.0 else ""
    return f"{way}: {margin(one, figures)}{side}{_touched(one)}"


def _touched(one: Passed) -> str:
    if np.isnan(one.chance) or one.chance < _RARE:
        return ""
    return f"; {100.0 * one.chance:.0f} % of your arrows touch"


def edges(one: Passed, figures: Quantities) -> str:
    """The edges of an obstacle, those that are bounded."""
    told = [
        f"{name} edge {_placed(value, over, under, figures)}"
        for name, value, over, under in (
            ("bottom", one.bottom, "over", "under"),
            ("top", one.top, "over", "under"),
            ("left", one.left, "right of", "left of"),
            ("right", one.right, "right of", "left of"),
        )
        if np.isfinite(value)
    ]
    return f"{', '.join(told)} the line of sight" if told else "no edge"


def _placed(value: float, over: str, under: str, figures: Quantities) -> str:
    return f"{_way(value, figures)} {over if value >= 0.0 else under}"


def lane(scene: Scene) -> str:
    """What the lane is."""
    return f"lane for {digits(100.0 * scene.share)} % of your arrows"


def housing(found: UnderHousing, figures: Quantities) -> str:
    """Which marks the housing allows."""
    if found.always:
        return "The arrow meets the sight's housing at every mark."
    if np.isfinite(found.farthest):
        return (
            "The arrow passes under the sight's housing at marks up to "
            f"{figures.text(found.farthest, 'distance')}, and meets it beyond."
        )
    return "The arrow passes the sight's housing at every mark."


def mark(distance: float, clearance: float, figures: Quantities) -> str:
    """One mark against the housing."""
    space = figures.text(abs(clearance), "length")
    return f"{figures.text(distance, 'distance')}: " + (
        f"{space} free" if clearance > 0.0 else f"meets it by {space}"
    )


def captions(scene: Scene, figures: Quantities, *, beside: bool, beyond: bool) -> list[str]:
    """What stands under a clearance.

    beside: an obstacle is drawn that stands beside the path.  beyond: one goes on beyond a view.
    """
    envelope = figures.text(scene.envelope, "length")
    said = [
        "The grey band is all that the arrow takes up, from tip to nock and "
        f"{envelope} about its axis."
    ]
    if scene.passed:
        said[0] += (
            " Obstacles are numbered: slanted hatching where the arrow is clear, crossed hatching, "
            "a bold outline and a cross on the path where it touches."
        )
    if beside:
        said.append(
            "Dashed outlines without hatching lie beside the path in that view, not in its way: "
            "another view shows where."
        )
    if beyond:
        said.append("An outline with a pointed end goes on beyond the view.")
    if any(one.chance < _RARE for one in scene.passed):
        said.append("Where no share of your arrows is named, fewer than one in 200 touch.")
    if scene.housing is not None:
        said.append(housing(scene.housing, figures))
    return [*said, *boxed(one.name for one in scene.passed), *scene.cautions]


def described(scene: Scene, figures: Quantities, said: Sequence[str]) -> str:
    """The picture of a clearance in words; said: the captions."""
    told = [
        f"{number}. {one.name}: {edges(one, figures)}, at {passed(one, figures)}; the tip passes "
        f"{_placed(one.up, 'over', 'under', figures)} and "
        f"{_placed(one.aside, 'right of', 'left of', figures)} the line of sight."
        for number, one in enumerate(scene.passed, 1)
    ]
    if scene.ground is not None:
        told.append("The ground is drawn under the path.")
    if scene.housing is not None:
        marks = zip(scene.housing.distance, scene.housing.clearance, strict=True)
        told.append(
            "Room under the sight's housing, by marks: "
            f"{'; '.join(mark(float(d), float(c), figures) for d, c in marks)}."
        )
    return readable(" ".join([*scene.alarms, *flight(scene.flown, figures), *told, *said]))


def flight(flown: Flown, figures: Quantities) -> list[str]:
    """A flight in words."""
    end = figures.text(float(flown.distance[-1]), "distance")
    return [
        "The arrow's path over and beside the line of sight, over distance.",
        *subtitle(flown, figures),
        f"The path's {highest(flown)}: {apex(flown, figures)}.",
        f"It ends at {end}, {arrival(flown, figures)}; {drift(flown, figures)}.",
    ]
