"""The members that computations share: bow, arrow, sight, launch, drag, air, site, wind, units.

Bounds are physical good sense, wider than any archer's set-up: they catch slips of the
unit and keep the solver where it has been tested.
"""

import math
from collections.abc import Mapping
from typing import Any, cast

from marshmallow import ValidationError

from arrowloft import units
from arrowloft.api.fields import Choice, Items, Number, Part, Quantity, WholeNumber
from arrowloft.api.parameters import ModelChoice, ModelSchemas
from arrowloft.api.schemas import Member, Strict, strict
from arrowloft.core.setup.equipment import PIVOT_ALLOWANCE

MOST_PINS = 20
SPEEDS = (5.0, 200.0)
"""Launch speeds, m/s, for which flights are computed."""

_STEEPEST = math.radians(60)


def slope(description: str, *, example: str = "0 deg", **options: Any) -> Quantity:
    """An inclination of the line of sight: 60 deg up or down at most."""
    return Quantity(
        "angle", description, example=example, low=-_STEEPEST, high=_STEEPEST, **options
    )


def wind_speed(description: str, *, example: str = "3 m/s", **options: Any) -> Quantity:
    """A wind speed, up to 40 m/s."""
    return Quantity("speed", description, example=example, low=0.0, high=40.0, **options)


def wind_from(**options: Any) -> Quantity:
    """Where a wind blows from."""
    return Quantity(
        "angle",
        "Direction the wind blows from, clockwise from the target as seen from above: "
        "0 deg head wind, 90 deg from the right, 180 deg tail wind.",
        example="90 deg",
        low=-2 * math.pi,
        high=2 * math.pi,
        **options,
    )


LEVEL_SLOPE = "Inclination of the line of sight, uphill positive; left out, level."


def distance(description: str, *, example: str = "50 m", **options: Any) -> Quantity:
    """A distance along the line of sight: 1 to 1000 m."""
    return Quantity("distance", description, example=example, low=1.0, high=1000.0, **options)


def _travel_per_turn(description: str) -> Quantity:
    return Quantity("length", description, example="1.2 mm", low=5e-5, high=0.05)


class Bow(Strict):
    """What is known of the bow."""

    peep_height = Quantity(
        "length",
        "Eye, at the peep, above the arrow's line at full draw, perpendicular to it.",
        example="4.6 in",
        low=-0.1,
        high=0.5,
        required=True,
    )
    draw_length = Quantity(
        "length",
        "Draw length by the trade's definition: nock to the grip's pivot point plus 1.75 in.",
        example="29 in",
        low=0.3,
        high=1.2,
    )
    brace_height = Quantity(
        "length",
        "Grip's pivot point to the string at rest.",
        example="6.4 in",
        low=0.05,
        high=0.5,
    )
    draw_weight = Quantity(
        "force", "Peak force of the draw.", example="58 lbf", low=10.0, high=1000.0
    )
    launch_forward = Quantity(
        "length",
        "Balance point ahead of the eye, along the arrow's line, where the arrow leaves the "
        "string; left out, power stroke plus balance point of the arrow.",
        example="950 mm",
        low=-0.5,
        high=2.0,
    )

    def check(self, data: dict[str, Any]) -> None:
        """The string must have some way to go."""
        draw, brace = data.get("draw_length"), data.get("brace_height")
        if draw is not None and brace is not None and draw - PIVOT_ALLOWANCE <= brace:
            raise ValidationError(
                "The brace height leaves no power stroke: it must be less than the draw "
                "length less 1.75 in.",
                "brace_height",
            )


class Arrow(Strict):
    """What is known of the arrow."""

    mass = Quantity(
        "mass", "Mass of the whole arrow.", example="421 gr", low=1e-3, high=0.2, required=True
    )
    shaft_diameter = Quantity(
        "length",
        "Outer diameter of the shaft.",
        example="5.9 mm",
        low=2e-3,
        high=20e-3,
        required=True,
    )
    length = Quantity(
        "length",
        "Nock throat to the end of the point.",
        example="28.4 in",
        low=0.2,
        high=1.5,
    )
    balance_point = Quantity(
        "length",
        "Nock throat to the balance point.",
        example="16.1 in",
        low=0.05,
        high=1.5,
    )
    tip_lead = Quantity(
        "length",
        "Tip ahead of the balance point; left out, length less balance point.",
        example="310 mm",
        low=0.0,
        high=1.5,
    )

    def check(self, data: dict[str, Any]) -> None:
        """The arrow must balance on itself."""
        length, balance = data.get("length"), data.get("balance_point")
        if length is not None and balance is not None and balance > length:
            raise ValidationError(
                "The balance point lies beyond the tip: give at most the length.", "balance_point"
            )


class SightScale(Strict):
    """A linear scale printed on the sight."""

    reading = Number(
        "Reading of the scale at the zero distance.", low=-10_000, high=10_000, required=True
    )
    travel_per_unit = Quantity(
        "length",
        "Travel of the pin from one unit of the scale to the next.",
        example="5 mm",
        low=1e-5,
        high=0.2,
        required=True,
    )
    increases = Choice(
        ("down", "up"), "Which way the pin moves while the readings grow.", required=True
    )


class Air(Strict):
    """What was measured of the air; the rest is the standard atmosphere at the altitude."""

    temperature = Quantity(
        "temperature", "Air temperature.", example="12 degC", low=213.15, high=333.15
    )
    pressure = Quantity(
        "pressure",
        "Pressure as a barometer at the site shows it, not reduced to sea level.",
        example="985 hPa",
        low=30_000.0,
        high=110_000.0,
    )
    relative_humidity = Number("Relative humidity, 0 to 1.", low=0, high=1)


class Site(Strict):
    """Where the shot is taken."""

    altitude = Quantity(
        "length",
        "Altitude: air that was not measured follows from it.",
        example="310 m",
        low=-430.0,
        high=9000.0,
    )
    latitude = Quantity(
        "angle",
        "Geodetic latitude: gravity follows from it; left out, standard gravity.",
        example="47 deg",
        low=-math.pi / 2,
        high=math.pi / 2,
    )


class _WithTurns(Strict):
    """A sight whose clicks have turns to belong to."""

    def check(self, data: dict[str, Any]) -> None:
        """Clicks are a share of a turn."""
        for side in ("", "windage_"):
            if f"{side}clicks_per_turn" in data and f"{side}travel_per_turn" not in data:
                raise ValidationError(
                    f"Clicks need {side}travel_per_turn beside them: add it.",
                    f"{side}clicks_per_turn",
                )


_SIGHT_MEMBERS: dict[str, Member] = {
    "radius": Quantity(
        "length",
        "Pin ahead of the eye, along the arrow's line.",
        example="33 in",
        low=0.2,
        high=2.0,
        required=True,
    ),
    "zero_distance": distance(
        "Distance at which the sight is set: travel, turns and readings count from it; "
        "left out, the nearest distance asked for.",
        example="20 yd",
    ),
    "travel_per_turn": _travel_per_turn("Travel of the pin in one turn of its screw."),
    "clicks_per_turn": WholeNumber("Clicks in one turn.", low=1, high=1000),
    "windage_travel_per_turn": _travel_per_turn(
        "Sideways travel of the pin in one turn of the windage screw."
    ),
    "windage_clicks_per_turn": WholeNumber(
        "Clicks in one turn of the windage screw.", low=1, high=1000
    ),
    "scale": Part(SightScale(), "A linear scale printed on the sight."),
    "pins": Items(
        distance("Distance of one fixed pin."),
        "Distances of fixed pins, for their gaps.",
        most=MOST_PINS,
    ),
}
Sight = cast(type[Strict], _WithTurns.from_dict(cast(Any, _SIGHT_MEMBERS), name="Sight"))


_WIND_MEMBERS: dict[str, Member] = {
    "speed": wind_speed("Wind speed.", required=True),
    "from": wind_from(required=True),
}
Wind = strict("Wind", _WIND_MEMBERS)

_UNIT_MEMBERS: dict[str, Member] = {
    dimension: Choice(
        units.units_of(dimension),
        f"Unit of each {dimension.replace('_', ' ')} in the reply; {usual} if left out.",
    )
    for dimension, usual in units.DEFAULTS.items()
}
UnitChoice = strict("UnitChoice", _UNIT_MEMBERS)


def request_schema(
    name: str,
    models: ModelSchemas,
    own: Mapping[str, Member],
    *,
    launch_required: bool = True,
    drag_required: bool = True,
    sight: bool | None = None,
    shot: bool = True,
) -> Strict:
    """A computation's request: the shared members and its own; one instance, made at start.

    sight: whether a sight is needed (True), may be given (False) or is unknown (None).
    shot: whether slope and wind, which belong to a flight, are members.
    """
    members: dict[str, Any] = {
        "bow": Part(Bow(), "The bow.", required=True),
        "arrow": Part(Arrow(), "The arrow.", required=True),
        "launch": ModelChoice(
            "launch", models, "The launch-speed model.", required=launch_required
        ),
        "drag": ModelChoice("drag", models, "The drag model.", required=drag_required),
        "air": Part(Air(), "The air, as far as it was measured."),
        "site": Part(Site(), "Where the shot is taken."),
        "units": Part(UnitChoice(), "Units of the reply."),
    }
    if sight is not None:
        members["sight"] = Part(Sight(), "The sight.", required=sight)
    if shot:
        members["wind"] = Part(Wind(), "The wind; left out, none.")
        members["slope"] = slope(LEVEL_SLOPE)
    return strict(name, members | dict(own))()
