"""What an overshoot's picture says, beside what it shows and to those who cannot see it."""

from arrowloft.core.overshoot.carry import Area
from arrowloft.core.overshoot.guidance import Quoted
from arrowloft.core.overshoot.scene import Arc
from arrowloft.pictures.overshoot_sheet import Sheet

TITLE = "Where arrows come down"
CAUTION = (
    "This picture approves no ground: the governing body, the insurer, the ground's rules and "
    "local law decide. Quoted distances assume low shots."
)
STOPPED = "stopped by the butt"


def subtitle(sheet: Sheet) -> str:
    """The arrow and the shot in a line."""
    scene, target = sheet.scene, sheet.scene.target
    side = "above" if target.elevation >= 0.0 else "below"
    mass, speed = sheet.amount(scene.arrow_mass, "mass"), sheet.amount(scene.launch_speed, "speed")
    return (
        f"Arrow of {mass} at {speed}. Target {sheet.way(target.distance)} away, aimed with the "
        f"arrow {sheet.angle(abs(target.elevation))} {side} level, {sheet.wind()}."
    )


def described(sheet: Sheet) -> str:
    """The picture in words."""
    scene = sheet.scene
    said = [
        "Views from above and from the side, to one scale",
        subtitle(sheet).removesuffix("."),
        of_farthest(sheet),
    ]
    said += [of_group(sheet, scene.group)] if scene.group is not None else []
    said += [of_gross(sheet, scene.gross)] if scene.gross is not None else []
    said += [of_arc(sheet, arc) for arc in scene.arcs if arc.kind != "farthest"]
    said += [of_quoted(sheet, one, way) for one, way in scene.quoted]
    sentences = [text[:1].upper() + text[1:] + "." for text in said]
    return " ".join([*sentences, *cautions(sheet)])


def cautions(sheet: Sheet) -> list[str]:
    """What stands under the picture, a paragraph each."""
    return [CAUTION, *sheet.scene.cautions]


def of_group(sheet: Sheet, area: Area) -> str:
    """Where the group's arrows land."""
    name = "group, where it misses" if sheet.scene.target.half_width else "group"
    return f"{name}: lands at {sheet.span(area.nearest, area.farthest)}"


def of_gross(sheet: Sheet, area: Area) -> str:
    """Where gross errors land."""
    scene = sheet.scene
    errors = f"to {sheet.angle(scene.gross_high)} high, {sheet.angle(scene.gross_aside)} aside"
    return f"gross errors {errors}: land at {sheet.span(area.nearest, area.farthest)}"


def of_arc(sheet: Sheet, arc: Arc) -> str:
    """One way to loose an arrow, and where it lands."""
    side = "above" if arc.high >= 0.0 else "below"
    name = {
        "mark": "as aimed, passing the target",
        "release": f"loosed {sheet.angle(arc.high)} high",
        "draw": f"loosed at the draw, {sheet.angle(abs(arc.high))} {side} the mark",
        "farthest": f"farthest straight ahead, {sheet.angle(arc.high)} high",
    }[arc.kind]
    return f"{name}: {sheet.way(float(arc.distance[-1]))}"


def of_quoted(sheet: Sheet, one: Quoted, way: float) -> str:
    """A quoted distance."""
    return f"quoted, {one.code.replace('-', ' ')}: {sheet.way(way)}"


def of_farthest(sheet: Sheet) -> str:
    """The farthest carry."""
    carry = sheet.scene.farthest
    far = f"farthest straight ahead {sheet.way(carry.distance)}"
    if carry.upper == carry.distance:
        return far
    return f"{far}; {sheet.way(carry.upper)} within the doubt of speed and drag"
