"""The members of /v1/rigid-flight: body and vanes, how it leaves the string, what is asked."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.distances import Distances
from arrowloft.api.fields import Items, Number, Part, Quantity, WholeNumber
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import distance
from arrowloft.core.rigid.aerodynamics import (
    CROSS_FLOW,
    FEWEST_VANES,
    MOST_CROSS_FLOW,
    MOST_VANES,
    Vanes,
)
from arrowloft.core.rigid.body import Body, DoesNotBalance, Parts, body_of, estimated_parts
from arrowloft.core.rigid.release_scatter import CAUSES
from arrowloft.core.rigid.rigid_flight import OneRelease

MOST_DISTANCES = 10
MOST_PARTS = 30
SETTLED = math.radians(0.5)
"""Angle below which an arrow counts as settled, unless the caller says otherwise."""

_WIDEST = math.radians(30)
_FASTEST = 30.0
_TURNING = 5000.0
_AGREE = 0.01
"""Share by which parts may miss the arrow's mass, and its length its balance point."""

SIGNS = (
    "Pitch counts tip up (nock low) as positive, so nock-high is negative; yaw counts tip right "
    "(nock left) as positive, so nock-left is positive; spin counts clockwise as the archer sees "
    "it."
)


class RigidVanes(Strict):
    """The vanes, alike and evenly around the shaft."""

    count = WholeNumber("How many.", low=FEWEST_VANES, high=MOST_VANES, required=True)
    length = Quantity(
        "length",
        "Length of a vane along the shaft.",
        example="45 mm",
        low=5e-3,
        high=0.2,
        required=True,
    )
    height = Quantity(
        "length",
        "Mean height of a vane above the shaft.",
        example="8 mm",
        low=1e-3,
        high=0.05,
        required=True,
    )
    position = Quantity(
        "length",
        "Nock throat to the vanes' rear edge.",
        example="25 mm",
        low=0.0,
        high=1.0,
        required=True,
    )
    offset = Quantity(
        "angle",
        "Angle at which the vanes stand to the shaft; positive spins the arrow clockwise as the "
        "archer sees it. Left out, straight.",
        example="1 deg",
        low=-math.radians(10),
        high=math.radians(10),
    )


class RigidPart(Strict):
    """A part of the arrow's mass."""

    mass = Quantity("mass", "Its mass.", example="6.5 g", low=1e-6, high=0.2, required=True)
    position = Quantity(
        "length",
        "Nock throat to its centre of mass.",
        example="355 mm",
        low=-0.1,
        high=1.6,
        required=True,
    )
    length = Quantity(
        "length",
        "Length of shaft over which it is spread evenly; left out, none.",
        example="700 mm",
        low=0.0,
        high=1.5,
    )
    radius = Quantity(
        "length",
        "How far from the shaft's axis its mass sits; left out, half the shaft's diameter.",
        example="2.7 mm",
        low=1e-4,
        high=0.05,
    )


class RigidBody(Strict):
    """Vanes, and how the arrow's mass is spread."""

    vanes = Part(RigidVanes(), "The vanes.", required=True)
    parts = Items(
        Part(RigidPart()),
        "All parts of the arrow: shaft, point, insert, nock, vanes. Together they must weigh and "
        "balance as the arrow does. Left out, a uniform shaft with point and nock is taken.",
        most=MOST_PARTS,
    )
    point_mass = Quantity(
        "mass",
        "Mass of point and insert together, in place of `parts`; left out, nock and vanes are "
        "taken to weigh 6 % of the arrow.",
        example="6.5 g",
        low=1e-5,
        high=0.2,
    )
    cross_flow = Number(
        "Coefficient of the shaft's drag across its axis, on its side area: the largest "
        f"uncertainty here. Left out, {CROSS_FLOW}; 0 leaves what linear theory knows.",
        low=0.0,
        high=MOST_CROSS_FLOW,
    )

    def check(self, data: dict[str, Any]) -> None:
        """One way of saying where the mass is."""
        if "parts" in data and "point_mass" in data:
            raise ValidationError("Give either `parts` or `point_mass`.", "point_mass")


def _angle(description: str, low: float, example: str) -> Quantity:
    return Quantity("angle", description, example=example, low=low, high=_WIDEST)


def _rate(description: str, low: float, high: float, example: str) -> Quantity:
    return Quantity("angle_rate", description, example=example, low=low, high=high)


class RigidRelease(Strict):
    """How the arrow leaves the string, its balance point moving along the arrow's line."""

    pitch = _angle(
        "Shaft out of the arrow's line, tip up (nock low) positive: nock-high is negative.",
        -_WIDEST,
        "-1 deg",
    )
    yaw = _angle(
        "Shaft out of the arrow's line, tip right (nock left) positive.", -_WIDEST, "0.5 deg"
    )
    pitch_rate = _rate("Turning, tip going up positive.", -_FASTEST, _FASTEST, "-0.4 rad/s")
    yaw_rate = _rate("Turning, tip going right positive.", -_FASTEST, _FASTEST, "0.2 rad/s")
    spin = _rate(
        "About the shaft, clockwise as the archer sees it positive.", -_TURNING, _TURNING, "0 rpm"
    )


class RigidScatter(Strict):
    """Standard deviations of the release from arrow to arrow, independent and normal."""

    pitch = _angle("Of the pitch.", 0.0, "0.3 deg")
    yaw = _angle("Of the yaw.", 0.0, "0.3 deg")
    pitch_rate = _rate("Of the pitch rate.", 0.0, _FASTEST, "0.15 rad/s")
    yaw_rate = _rate("Of the yaw rate.", 0.0, _FASTEST, "0.15 rad/s")

    def check(self, data: dict[str, Any]) -> None:
        """Something must scatter."""
        if not any(data.values()):
            raise ValidationError("Nothing scatters: give a standard deviation, or leave it out.")


def members(samples: int) -> dict[str, Member]:
    """The resource's own members. samples: most points of the path."""
    return {
        "target": distance("Distance to aim at.", required=True),
        "distances": Distances(
            MOST_DISTANCES, "Further distances, each aimed at by itself, for more `rows`."
        ),
        "body": Part(RigidBody(), "Vanes, and how the mass is spread.", required=True),
        "release": Part(
            RigidRelease(), f"How the arrow leaves the string; left out, cleanly. {SIGNS}"
        ),
        "scatter": Part(RigidScatter(), "How the release scatters; left out, no group is given."),
        "settled_angle": Quantity(
            "angle",
            "Angle below which the arrow counts as settled; left out, 0.5 deg.",
            example="0.5 deg",
            low=1e-4,
            high=math.radians(10),
        ),
        "step": Quantity(
            "distance",
            "From one point to the next; instead of `samples`.",
            example="1 m",
            low=0.1,
            high=1000.0,
        ),
        "samples": WholeNumber(
            "Points, evenly spaced in time; 101 if left out. Instead of `step`.",
            low=2,
            high=samples,
        ),
    }


def check_together(asked: Mapping[str, Any]) -> None:
    """Lengths that the rigid arrow needs, vanes that fit on it, one way to space points."""
    arrow, vanes = asked["arrow"], asked["body"]["vanes"]
    missing = {
        name: ["The rigid arrow needs this member: add it."]
        for name in ("length", "balance_point")
        if name not in arrow
    }
    if missing:
        raise ValidationError({"arrow": missing})
    if vanes["position"] + vanes["length"] > arrow["length"]:
        fault = "The vanes do not fit on the arrow: correct their position or their length."
        raise ValidationError({"body": {"vanes": {"position": [fault]}}})
    if "step" in asked and "samples" in asked:
        raise ValidationError({"samples": ["Give either `step` or `samples`."]})


def body_from(asked: Mapping[str, Any]) -> tuple[Body, Parts]:
    """Mass properties and the parts they come from; ValidationError where they do not fit."""
    arrow, body = asked["arrow"], asked["body"]
    parts = _given(body["parts"], arrow) if "parts" in body else _estimated(arrow, body)
    return body_of(parts), parts


def vanes_from(asked: Mapping[str, Any]) -> Vanes:
    """The vanes of a request."""
    return Vanes(**asked["body"]["vanes"])


def cross_flow_from(asked: Mapping[str, Any]) -> float:
    """The coefficient of the shaft's cross flow."""
    return float(asked["body"].get("cross_flow", CROSS_FLOW))


def release_from(asked: Mapping[str, Any]) -> OneRelease:
    """The release of a request."""
    return OneRelease(**asked.get("release", {}))


def scatter_from(asked: Mapping[str, Any]) -> Any:
    """Standard deviations in the order of CAUSES, (4,); None where nothing scatters."""
    if "scatter" not in asked:
        return None
    return np.array([asked["scatter"].get(name, 0.0) for name in CAUSES])


def _given(items: list[dict[str, float]], arrow: Mapping[str, float]) -> Parts:
    half = 0.5 * arrow["shaft_diameter"]
    found = Parts(
        mass=np.array([item["mass"] for item in items]),
        position=np.array([item["position"] for item in items]),
        length=np.array([item.get("length", 0.0) for item in items]),
        radius=np.array([item.get("radius", half) for item in items]),
    )
    whole = body_of(found)
    if abs(whole.mass - arrow["mass"]) > _AGREE * arrow["mass"]:
        fault = (
            f"The parts weigh {1e3 * whole.mass:.4g} g together and the arrow "
            f"{1e3 * arrow['mass']:.4g} g: correct the one or the other."
        )
        raise ValidationError({"body": {"parts": [fault]}})
    if abs(whole.balance_point - arrow["balance_point"]) > _AGREE * arrow["length"]:
        fault = (
            f"The parts balance {1e3 * whole.balance_point:.4g} mm from the nock throat and the "
            f"arrow {1e3 * arrow['balance_point']:.4g} mm: correct the one or the other."
        )
        raise ValidationError({"body": {"parts": [fault]}})
    return found


def _estimated(arrow: Mapping[str, float], body: Mapping[str, Any]) -> Parts:
    try:
        return estimated_parts(
            mass=arrow["mass"],
            length=arrow["length"],
            balance_point=arrow["balance_point"],
            diameter=arrow["shaft_diameter"],
            point_mass=body.get("point_mass"),
        )
    except DoesNotBalance:
        fault = (
            "No shaft with a point and a nock balances like this: correct the balance point or "
            "the point's mass, or give `body.parts`."
        )
        where = {"body": {"point_mass": [fault]}} if "point_mass" in body else {}
        raise ValidationError(where or {"arrow": {"balance_point": [fault]}}) from None
