"""What /v1/hit-probability takes beside the shared members."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.archer.groups import group_member
from arrowloft.api.distances import Distances
from arrowloft.api.fields import Choice, Flag, Items, Number, Part, Quantity, WholeNumber
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import distance
from arrowloft.core.chances.aim_errors import AimErrors, Movement
from arrowloft.core.chances.zones import Face, Zone

MOST_RINGS = 12
_MOST_MARKS = 100
_LARGEST = 5.0
"""Largest zone or face, m."""

NEAREST, UP_TO = 5.0, 150.0
"""Where the farthest sensible distance is looked for, where nothing is said; m."""

_CHASED = "0 deg: straight away from the archer, 90 deg: to the right"


def _size(description: str, example: str, **options: Any) -> Quantity:
    return Quantity("length", description, example=example, low=0.005, high=_LARGEST, **options)


IN_GROUP = ("speed", "roll", "wind_along", "wind_across")
"""Errors that may have been at work when the group was shot."""


class HitZone(Strict):
    """What an arrow should hit, centred on the aim point: a circle, an ellipse or a rectangle."""

    diameter = _size("Of a circle.", "8 in")
    width = _size("Of an ellipse or a rectangle; with `height`, in place of `diameter`.", "20 cm")
    height = _size("Its height.", "30 cm")
    shape = Choice(("ellipse", "rectangle"), "Of `width` and `height`; left out, an ellipse.")

    def check(self, data: dict[str, Any]) -> None:
        """A diameter, or width and height."""
        sides = [name for name in ("width", "height", "shape") if name in data]
        if "diameter" in data:
            if sides:
                raise ValidationError(
                    "A zone with a `diameter` is a circle: leave this out, or give `width` and "
                    "`height` without `diameter`.",
                    sides[0],
                )
        elif not sides:
            raise ValidationError("Give `diameter`, or `width` and `height`.")
        elif "width" not in data or "height" not in data:
            missing = next(name for name in ("width", "height") if name not in data)
            raise ValidationError(
                f"Give `{missing}` too, or `diameter` alone for a circle.", missing
            )


class FaceRing(Strict):
    """One ring of a face of the caller's own."""

    diameter = _size("Diameter of its outer line.", "20 cm", required=True)
    points = Number("Points of an arrow in it.", above=0, high=1000, required=True)


class TargetFace(Strict):
    """A target face: ten rings of one width, or rings of the caller's own."""

    diameter = _size(
        "Diameter of the one-point ring, printed or not, of a face of ten rings: 122, 80, 60 or "
        "40 cm.",
        "122 cm",
    )
    lowest = WholeNumber(
        "Points of the outermost ring printed on it, such as 5 or 6; left out, 1.", low=1, high=10
    )
    rings = Items(
        Part(FaceRing()),
        "Rings in place of `diameter`, from the outermost inward, points rising.",
        most=MOST_RINGS,
    )
    line_counts = Flag(
        "Whether an arrow that touches a line has the points of the ring within; left out, yes."
    )

    def check(self, data: dict[str, Any]) -> None:
        """One form; rings in order."""
        if "rings" not in data:
            if "diameter" not in data:
                raise ValidationError("Give `diameter` for a face of ten rings, or `rings`.")
            return
        for name in ("diameter", "lowest"):
            if name in data:
                fault = "`rings` say all of the face: leave this out, or leave `rings` out."
                raise ValidationError(fault, name)
        rings = data["rings"]
        for index in range(1, len(rings)):
            before, ring = rings[index - 1], rings[index]
            if ring["diameter"] >= before["diameter"] or ring["points"] <= before["points"]:
                fault = (
                    "Give the rings from the outermost inward: each smaller than the one before, "
                    "and of more points."
                )
                raise ValidationError({"rings": {index: [fault]}})


class MarkDoubt(Strict):
    """How far a mark may be off at one distance."""

    distance = distance("Distance of the mark.", example="50 yd", required=True)
    height = Quantity(
        "length",
        "Standard uncertainty of the height at the target, as `height_uncertainty` of a "
        "calibration's marks.",
        example="2 cm",
        low=0.0,
        high=2.0,
        required=True,
    )


class TargetMovement(Strict):
    """How the target moves, level, while the arrow flies."""

    speed = Quantity(
        "speed",
        "Mean speed, which the archer does not allow for; left out, none.",
        example="0.5 m/s",
        low=0.0,
        high=15.0,
    )
    towards = Quantity(
        "angle",
        "Where it moves, clockwise from straight away from the archer as seen from above: 90 deg "
        "to the right, 180 deg toward the archer. Needed with `speed`.",
        example="90 deg",
        low=-2 * math.pi,
        high=2 * math.pi,
    )
    scatter = Quantity(
        "speed",
        "Standard deviation of its speed along the line of sight and across it: a movement that "
        "may go anywhere.",
        example="0.3 m/s",
        low=0.0,
        high=10.0,
    )
    delay = Quantity(
        "time",
        "From the loose until it begins to move; left out, it moves all the time.",
        example="0.2 s",
        low=0.0,
        high=10.0,
    )

    def check(self, data: dict[str, Any]) -> None:
        """A speed has a direction."""
        if data.get("speed", 0.0) > 0.0 and "towards" not in data:
            raise ValidationError(f"Say where it moves, as an angle; {_CHASED}.", "towards")
        if not (data.get("speed") or data.get("scatter")):
            raise ValidationError(
                "Give `speed` with `towards`, or `scatter`; leave `movement` out where the target "
                "stands still."
            )
        if "towards" in data and "speed" not in data:
            raise ValidationError(
                "Give `speed` beside `towards`, or leave this out: `scatter` goes anywhere.",
                "towards",
            )


class ShotErrors(Strict):
    """What is off at a shot beside the group, as standard deviations; left out, nothing."""

    speed = Quantity(
        "speed", "Of the launch speed, from shot to shot.", example="1 ft/s", low=0.0, high=5.0
    )
    roll = Quantity("angle", "Of the bow.", example="1 deg", low=0.0, high=math.radians(20.0))
    range = Quantity("distance", "Of the guessed distance.", example="2 yd", low=0.0, high=20.0)
    range_share = Number("Of the guessed distance as a share of it.", low=0.0, high=0.2)
    wind_along = Quantity(
        "speed", "Of the guessed wind along the line of sight.", example="1 m/s", low=0.0, high=10.0
    )
    wind_across = Quantity(
        "speed", "Of the guessed wind across it.", example="1 m/s", low=0.0, high=10.0
    )
    mark = Items(
        Part(MarkDoubt()),
        "Of the marks, at one or more distances in any order. Taken as an angle, height over "
        "distance: straight lines between, the same beyond either end.",
        most=_MOST_MARKS,
    )
    movement = Part(TargetMovement(), "Movement of the target.")

    def check(self, data: dict[str, Any]) -> None:
        """Each distance of a mark once."""
        seen: set[float] = set()
        for index, doubt in enumerate(data.get("mark", ())):
            if doubt["distance"] in seen:
                fault = "This distance was given before: leave one of them out."
                raise ValidationError({"mark": {index: {"distance": [fault]}}})
            seen.add(doubt["distance"])


class AimedOff(Strict):
    """Where the arrows are aimed, from the middle of the zone."""

    up = Quantity("length", "Above it.", example="2 cm", low=-_LARGEST, high=_LARGEST)
    right = Quantity("length", "To the right.", example="-1 cm", low=-_LARGEST, high=_LARGEST)


class FarthestAsked(Strict):
    """A question for the farthest distance."""

    probability = Number(
        "Probability of a hit that is wanted.", low=0.01, high=0.9999, required=True
    )
    nearest = distance(f"Nearest distance that counts; left out, {NEAREST:g} m.", example="5 m")
    up_to = distance(f"Farthest distance to look at; left out, {UP_TO:g} m.", example="100 yd")

    def check(self, data: dict[str, Any]) -> None:
        """Some way to look at."""
        if data.get("up_to", UP_TO) > data.get("nearest", NEAREST):
            return
        if "up_to" in data:
            near = "`nearest`" if "nearest" in data else f"`nearest`, {NEAREST:g} m where left out"
            raise ValidationError(f"Give a distance farther than {near}.", "up_to")
        raise ValidationError(
            f"Give a distance nearer than `up_to`, {UP_TO:g} m where left out, or give `up_to`.",
            "nearest",
        )


def hit_members(most: int) -> dict[str, Member]:
    """The request's own members; most: distances."""
    return {
        "distances": Distances(
            most, "True distances: a list in any order, or a range.", required=True
        ),
        "zone": Part(HitZone(), "What an arrow should hit."),
        "face": Part(TargetFace(), "Or the target face: a hit is then an arrow that scores."),
        "aimed_off": Part(AimedOff(), "Where it is aimed; left out, at the middle."),
        "group": group_member(required=True),
        "growth": Number(
            "Power of the distance with which the group grows; left out, 1: in proportion.",
            low=0.5,
            high=3.0,
        ),
        "in_group": Items(
            Choice(IN_GROUP),
            "Errors that were at work when the group was shot: their part at its distance is taken "
            "out of it, and grows in its own way. Left out, speed; an empty list: none.",
            least=0,
            most=len(IN_GROUP),
        ),
        "errors": Part(ShotErrors(), "What else is off at a shot."),
        "wind_allowed_for": Flag(
            "Whether the archer allows for the drift of `wind`; left out, yes."
        ),
        "farthest": Part(FarthestAsked(), "Asks for the farthest sensible distance."),
    }


def target_of(asked: Mapping[str, Any], shaft_diameter: float) -> Zone | Face:
    """The zone or the face asked for. Raises ValidationError."""
    if "zone" not in asked and "face" not in asked:
        raise ValidationError({"zone": ["Say what an arrow should hit: give `zone` or `face`."]})
    if "zone" in asked and "face" in asked:
        raise ValidationError({"face": ["Give either `zone` or `face`: leave one of them out."]})
    if "zone" in asked:
        zone = asked["zone"]
        if "diameter" in zone:
            return Zone.circle(0.5 * zone["diameter"])
        return Zone(
            half_height=0.5 * zone["height"],
            half_width=0.5 * zone["width"],
            round=zone.get("shape", "ellipse") == "ellipse",
        )
    face = asked["face"]
    touch = 0.5 * shaft_diameter if face.get("line_counts", True) else 0.0
    if "diameter" in face:
        return Face.of_ten_rings(face["diameter"], face.get("lowest", 1), touch)
    rings = face["rings"]
    return Face(
        radii=tuple(0.5 * ring["diameter"] for ring in rings),
        points=tuple(ring["points"] for ring in rings),
        touch=touch,
    )


def errors_of(asked: Mapping[str, Any]) -> AimErrors:
    """The errors asked for."""
    given = asked.get("errors", {})
    single = {
        name: given[name]
        for name in ("speed", "roll", "range", "range_share", "wind_along", "wind_across")
        if name in given
    }
    marks = sorted((doubt["distance"], doubt["height"]) for doubt in given.get("mark", ()))
    if marks:
        at, height = np.array(marks).T
        single |= {"mark_distances": at, "mark_angles": height / at}
    return AimErrors(movement=_movement(given.get("movement", {})), **single)


def _movement(given: Mapping[str, float]) -> Movement:
    speed, towards = given.get("speed", 0.0), given.get("towards", 0.0)
    return Movement(
        away=speed * math.cos(towards),
        right=speed * math.sin(towards),
        scatter=given.get("scatter", 0.0),
        delay=given.get("delay", 0.0),
    )
