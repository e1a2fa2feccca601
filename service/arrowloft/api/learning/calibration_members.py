"""What a calibration takes beside the set-up: priors, observations, wanted marks, butts."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft import units
from arrowloft.api.archer.groups import group_member
from arrowloft.api.distances import Distances
from arrowloft.api.fields import Choice, Items, Number, Part, Quantity, WholeNumber
from arrowloft.api.learning.observation_members import observations_member
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.resource import Limits
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.setup import Setup
from arrowloft.api.shared import distance
from arrowloft.core.arrays import Array
from arrowloft.core.learning.unknowns import Prior
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import Note

PEEP_HEIGHT, RADIUS, ZERO, WINDAGE = 3e-3, 2e-3, 1e-3, 5e-3
"""Standard uncertainties where none are given, m: what a tape leaves of the two lengths; a
zero mark within about an inch at 20 yd; a windage that was never set with care
(common practice)."""

CONFIDENCE = 0.95
TOLERANCE, TOLERANCE_AT = 0.01, 10 * 0.9144
"""Height that a mark may be off where none is said: 1 cm for every 10 yd of distance."""

ARROWS = 6
_MOST_ARROWS = 30
_MOST_BUTTS = 40
_NEAREST_BUTT, _BUTT_STEP = 10.0, 5.0
"""Nearest butt tried up to the longest, and the step from one to the next, in yards or metres
as the reply counts distances."""

LOSSES = ("squares", "huber", "cauchy")


def _uncertainty(description: str, example: str, high: float) -> Quantity:
    return Quantity("length", description, example=example, low=0.0, high=high)


class Priors(Strict):
    """How sure of the set-up you were before: standard uncertainties; 0 is for what is certain."""

    speed = Quantity(
        "speed",
        "Of the launch speed; left out, what the launch model says.",
        example="1 m/s",
        low=0.0,
        high=50.0,
    )
    drag = Number(
        "Of the drag area, as a share of it; left out, what the drag model says.", low=0, high=1
    )
    peep_height = _uncertainty("Of the peep height; left out, 3 mm.", "3 mm", 0.1)
    radius = _uncertainty("Of the sight's radius; left out, 2 mm.", "2 mm", 0.1)
    zero = _uncertainty(
        "Of where the pin stands at the zero mark, up and down; left out, 1 mm, about an inch at "
        "20 yd. Give more for a sight that was not shot in.",
        "0.5 mm",
        0.05,
    )
    windage = _uncertainty("Of where it stands to the side; left out, 5 mm.", "5 mm", 0.05)


class Tolerance(Strict):
    """How far off a mark may be."""

    height = Quantity(
        "length",
        "Height that the impact may be off, up or down.",
        example="1 cm",
        low=1e-4,
        high=2.0,
        required=True,
    )
    at = distance(
        "Distance at which that is so: it grows with the distance. Left out, the same at all.",
        example="10 yd",
    )


class Next(Strict):
    """What can be shot next."""

    distances = Items(distance("A distance."), "Distances of the butts.", most=_MOST_BUTTS)
    longest = distance(
        "In place of them: the longest butt; every 5 yd or m from 10 on, up to it, are looked at, "
        f"or at wider steps where these were more than {_MOST_BUTTS}.",
        example="70 m",
    )
    arrows = WholeNumber("Most arrows of an end; left out, 6.", low=1, high=_MOST_ARROWS)

    def check(self, data: dict[str, Any]) -> None:
        """One list of butts."""
        if "distances" in data and "longest" in data:
            raise ValidationError("Give either `distances` or `longest`.", "longest")


def calibration_members(limits: Limits) -> dict[str, Member]:
    """The request's own members."""
    return {
        "observations": observations_member(limits.observations),
        "group": group_member(),
        "priors": Part(Priors(), "How sure of the set-up you were before the range."),
        "loss": Choice(
            LOSSES,
            "How residuals count: squares, or a robust loss by which what fits badly weighs less; "
            "left out, squares.",
        ),
        "distances": Distances(
            limits.distances, "Distances of the marks that you want.", required=True
        ),
        "tolerance": Part(Tolerance(), "How far off they may be; left out, 1 cm every 10 yd."),
        "confidence": Number(
            "How sure of each of them you want to be; left out, 0.95.", low=0.5, high=0.999
        ),
        "next": Part(Next(), "What can be shot next; left out, the distances of the marks."),
    }


def prior_of(asked: Mapping[str, Any], setup: Setup, sight: Sight) -> Prior:
    """What is known before the range."""
    given = asked.get("priors", {})
    return Prior(
        speed=setup.speed,
        speed_uncertainty=given.get("speed", setup.speed_uncertainty) / setup.speed,
        drag_uncertainty=given.get("drag", setup.drag_uncertainty),
        peep_height=float(setup.bow.peep_height),
        peep_height_uncertainty=given.get("peep_height", PEEP_HEIGHT),
        radius=sight.radius,
        radius_uncertainty=given.get("radius", RADIUS),
        zero_uncertainty=given.get("zero", ZERO),
        windage_uncertainty=given.get("windage", WINDAGE),
    )


def prior_notes(asked: Mapping[str, Any], reply: ReplyUnits) -> list[Note]:
    """What had to be assumed of the prior."""
    given = asked.get("priors", {})
    usual = {"peep_height": PEEP_HEIGHT, "radius": RADIUS, "zero": ZERO, "windage": WINDAGE}
    left = {name: size for name, size in usual.items() if name not in given}
    if not left:
        return []
    text = ", ".join(f"{name} {reply.roughly(size, 'length')}" for name, size in left.items())
    return [
        Note(
            "priors-assumed",
            f"Standard uncertainties assumed before the range: {text}. Give `priors` where you "
            "know better.",
        )
    ]


def tolerance_of(asked: Mapping[str, Any], distances: Array, notes: list[Note]) -> Array:
    """Height that each mark may be off, (rows,), m; noted where it is the usual one."""
    given = asked.get("tolerance")
    if given is None:
        notes.append(
            Note(
                "tolerance-assumed",
                "A mark counts as right within 1 cm for every 10 yd of distance: give `tolerance` "
                "for another measure.",
            )
        )
        given = {"height": TOLERANCE, "at": TOLERANCE_AT}
    if "at" not in given:
        return np.full(distances.size, given["height"])
    return np.asarray(given["height"] * distances / given["at"], dtype=float)


@dataclass(frozen=True, kw_only=True)
class Choices:
    """Butts to choose from, m, and the most arrows of an end."""

    distances: Array
    arrows: int


def choices_of(asked: Mapping[str, Any], setup: Setup, distances: Array) -> Choices:
    """What can be shot next."""
    given = asked.get("next", {})
    if "longest" in given:
        butts = _up_to(given["longest"], setup.units.chosen["distance"])
    elif "distances" in given:
        butts = np.array(given["distances"])
    else:
        butts = np.unique(distances)
        some = np.unique(np.linspace(0, butts.size - 1, min(butts.size, _MOST_BUTTS)).round())
        butts = butts[some.astype(int)]
    return Choices(distances=butts, arrows=given.get("arrows", ARROWS))


def _up_to(longest: float, unit: str) -> Array:
    """Round distances up to the longest, m, and that itself."""
    one = units.to_si(1.0, "distance", unit if unit in ("yd", "m") else "m")
    step = _BUTT_STEP * one
    count = max(int((longest / one - _NEAREST_BUTT) // _BUTT_STEP), 0)
    if count > _MOST_BUTTS - 2:
        step *= np.ceil(count / (_MOST_BUTTS - 2))
    round_ones = np.arange(_NEAREST_BUTT * one, longest, step)
    return np.append(round_ones[round_ones < longest - 1e-6], longest)
