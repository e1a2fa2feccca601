"""Obstacles in requests: edges given in three ways, resolved to solid patches."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple, cast

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.fields import Items, Part, Quantity, Text
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.schemas import Member, Strict
from arrowloft.core.arrays import Array
from arrowloft.core.path.ground import Ground
from arrowloft.core.path.patches import Patches

LONGEST_NAME = 60

_WIDEST = math.radians(60)
_WAYS = ("", "_above_ground", "_angle")
"""What the names of the members of a bottom or a top end with."""


def _from_sight(description: str, example: str) -> Quantity:
    return Quantity("length", description, example=example, low=-500.0, high=500.0)


def _above_ground(edge: str) -> Quantity:
    return Quantity(
        "length",
        f"The {edge} edge as its height above the ground, vertically; needs `ground`.",
        example="1.1 m",
        low=0.0,
        high=200.0,
    )


def _angle(edge: str) -> Quantity:
    return Quantity(
        "angle",
        f"The {edge} edge as it is seen from the eye, above the aim point positive.",
        example="1.5 deg",
        low=-_WIDEST,
        high=_WIDEST,
    )


class _Together(Strict):
    """An obstacle whose edges fit together."""

    def check(self, data: dict[str, Any]) -> None:
        """Some edge, none twice, left before right."""
        for edge in ("bottom", "top"):
            given = [f"{edge}{way}" for way in _WAYS if f"{edge}{way}" in data]
            if len(given) > 1:
                raise ValidationError(
                    f"The {edge} is given twice: keep one of {' and '.join(given)}.", given[1]
                )
        if not data.keys() - {"name", "distance"}:
            raise ValidationError(
                "Give at least one edge of the obstacle: bottom, top, left or right. An edge that "
                "is left out lies beyond reach."
            )
        if "left" in data and "right" in data and data["left"] >= data["right"]:
            raise ValidationError(
                "The left edge must lie left of the right one: lengths to the right of the line "
                "of sight are positive, those to the left negative.",
                "left",
            )


_OBSTACLE_MEMBERS: dict[str, Member] = {
    "name": Text("What the reply calls it.", most=LONGEST_NAME, required=True),
    "distance": Quantity(
        "distance",
        "Of the obstacle, along the line of sight; its plane is perpendicular to that.",
        example="23 m",
        low=0.3,
        high=1000.0,
        required=True,
    ),
    "bottom": _from_sight("Its bottom edge above the line of sight, down negative.", "20 cm"),
    "bottom_above_ground": _above_ground("bottom"),
    "bottom_angle": _angle("bottom"),
    "top": _from_sight("Its top edge above the line of sight, down negative.", "-15 cm"),
    "top_above_ground": _above_ground("top"),
    "top_angle": _angle("top"),
    "left": _from_sight("Its left edge right of the line of sight, left negative.", "-40 cm"),
    "right": _from_sight("Its right edge right of the line of sight, left negative.", "-5 cm"),
}
Obstacle = cast(type[Strict], _Together.from_dict(cast(Any, _OBSTACLE_MEMBERS), name="Obstacle"))


def obstacles_member(most: int) -> Member:
    """The member that lists obstacles."""
    return Items(Part(Obstacle()), "What stands or hangs in the way.", most=most)


class Obstacles(NamedTuple):
    """Obstacles as resolved: names, distances (m), patches in their planes."""

    names: list[str]
    distance: Array
    patches: Patches


def obstacles_of(
    asked: Sequence[Mapping[str, Any]], target: float, ground: Ground | None, units: ReplyUnits
) -> Obstacles:
    """The obstacles of a request. Raises ValidationError, which names each at fault."""
    faults: dict[int, dict[str, Any]] = {}
    edges = []
    for index, one in enumerate(asked):
        try:
            edges.append(_edges(one, target, ground, units))
        except ValidationError as error:
            faults[index] = {error.field_name: error.messages}
    if faults:
        raise ValidationError({"obstacles": faults})
    bottom, top, left, right = np.array(edges).reshape(-1, 4).T
    return Obstacles(
        [one["name"] for one in asked],
        np.array([one["distance"] for one in asked], dtype=float),
        Patches(bottom=bottom, top=top, left=left, right=right),
    )


def _edges(
    one: Mapping[str, Any], target: float, ground: Ground | None, units: ReplyUnits
) -> tuple[float, float, float, float]:
    """Bottom, top, left and right in the obstacle's plane, m; infinite where left out."""
    if one["distance"] >= target:
        raise ValidationError(
            f"The obstacle must stand before the target: give less than "
            f"{units.text(target, 'distance')}, or aim at a farther target.",
            "distance",
        )
    bottom = _height(one, "bottom", -math.inf, ground)
    top = _height(one, "top", math.inf, ground)
    if bottom >= top:
        member = next(f"top{way}" for way in _WAYS if f"top{way}" in one)
        raise ValidationError(
            f"The top must lie above the bottom: from the line of sight they are at "
            f"{units.text(top, 'length')} and {units.text(bottom, 'length')}.",
            member,
        )
    return bottom, top, one.get("left", -math.inf), one.get("right", math.inf)


def _height(one: Mapping[str, Any], edge: str, unbounded: float, ground: Ground | None) -> float:
    if edge in one:
        return float(one[edge])
    if (angle := one.get(f"{edge}_angle")) is not None:
        return float(one["distance"] * math.tan(angle))
    if (height := one.get(f"{edge}_above_ground")) is None:
        return unbounded
    if ground is None:
        raise ValidationError(
            "A height above the ground needs the heights of eye and target: add `ground`.",
            f"{edge}_above_ground",
        )
    return ground.up(one["distance"], height)
