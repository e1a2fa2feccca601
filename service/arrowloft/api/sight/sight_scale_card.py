"""The pocket card beside printed scales: marks as the scale has them, drift, greatest roll."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from arrowloft.api.blame import solving
from arrowloft.api.distances import pointer
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.reply_schemas import many, part, quantity, text
from arrowloft.api.schemas import strict
from arrowloft.api.sight.sight_scale_scales import OneScale
from arrowloft.api.tables import Head, columns, row_schema
from arrowloft.core.arrays import Array
from arrowloft.core.level.cant import Allowance, cant_table
from arrowloft.core.level.roll_series import MOST_ROLL
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.printed import Card
from arrowloft.core.sight.sight import Sight
from arrowloft.core.sight.wind_table import wind_table

_maybe = partial(Head, optional=True)

_COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the aim point."),
    Head("travel", "length", "Travel of the pin from the zero distance, as on the scale."),
    _maybe("clicks", "number", "Whole clicks for that, down positive.", whole=True),
    _maybe("reading", "number", "Reading of the sight's scale there."),
    _maybe(
        "drift",
        "length",
        "Shift of the impact by the card's wind, right positive; null where the arrow never "
        "arrives.",
        nullable=True,
    ),
    _maybe(
        "windage_clicks",
        "number",
        "Whole clicks of windage that cancel the drift, pin to the right positive.",
        whole=True,
    ),
    _maybe(
        "greatest_roll",
        "angle",
        "Largest roll of the bow either way at which the impact stays within the allowance; "
        "null where none up to `roll_tried` leaves it.",
        nullable=True,
    ),
)

_WIND: dict[str, Any] = {
    "speed": quantity("speed", "Speed of the wind."),
    "from": quantity("angle", "Where it blows from, clockwise from the target; 0 head wind."),
}
CardWindReply = strict("CardWindReply", _WIND)

ScaleCardReply = strict(
    "ScaleCardReply",
    {
        "label": text("Of the scale that it belongs to."),
        "rows": many(
            row_schema("ScaleCardRow", _COLUMNS), "One row a distance, in the order asked for."
        ),
        "wind": part(CardWindReply(), "Wind of the drift.", required=False),
        "allowance": quantity("length", "Diameter allowed for the roll.", required=False),
        "roll_tried": quantity("angle", "Largest roll that was tried.", required=False),
    },
)


@dataclass(frozen=True, kw_only=True)
class SolvedCard:
    """A card, and how well it was solved.

    error: estimated error of any angle, rad.  position_error: of any impact, m; None where
    none was computed.  airspeeds: least and greatest flown, m/s.
    """

    card: Card
    error: float
    position_error: float | None
    airspeeds: tuple[float, float]

    def reply(self, units: ReplyUnits) -> dict[str, Any]:
        """The card as the reply has it."""
        card, value = self.card, units.value
        own: dict[str, Any] = {
            "label": card.label,
            "rows": units.json_rows(columns(card, _COLUMNS)),
        }
        if card.wind_speed is not None:
            speed, blows_from = value(card.wind_speed, "speed"), value(card.wind_from, "angle")
            own["wind"] = {"speed": speed, "from": blows_from}
        if card.allowance is not None:
            own["allowance"] = value(card.allowance, "length")
            own["roll_tried"] = value(card.roll_tried, "angle")
        return own


def card_of(
    asked: Mapping[str, Any], body: dict[str, Any], one: OneScale, units: ReplyUnits
) -> SolvedCard:
    """The card that `asked` describes, with one scale's marks.

    body: the request's `card`, as it came.  Raises Problem.
    """
    distances, sight, shot = np.array(asked["distances"]), one.scale.sight, one.scale.shot

    def pointer_of(lane: int) -> str:
        if lane >= distances.size:
            return "/sight/zero_distance"
        return f"/card{pointer(body, lane)}"

    with one.whose.faults(), solving(units, pointer_of):
        table = mark_table(shot, sight, distances)
        drift = _drift(asked.get("wind"), shot, sight, distances)
        roll = _roll(asked.get("allowance"), shot, distances)
    travel = one.scale.corrected(table)
    setting = sight.setting(travel)
    card = Card(
        label=one.strip.label,
        distance=distances,
        travel=travel,
        clicks=setting.clicks,
        reading=setting.reading,
        **drift.columns,
        **roll.columns,
    )
    flown = (table.airspeed_range, *drift.airspeeds, *roll.airspeeds)
    return SolvedCard(
        card=card,
        error=max(table.error, *drift.errors, 0.0),
        position_error=max((*drift.position_errors, *roll.position_errors), default=None),
        airspeeds=(min(low for low, _ in flown), max(high for _, high in flown)),
    )


@dataclass(frozen=True, kw_only=True)
class _Part:
    """Some columns of a card, and how well they were solved: nothing where not asked for."""

    columns: Mapping[str, Any]
    errors: tuple[float, ...] = ()
    position_errors: tuple[float, ...] = ()
    airspeeds: tuple[tuple[float, float], ...] = ()


_NOTHING = _Part(columns={})


def _drift(wind: Mapping[str, float] | None, shot: Shot, sight: Sight, distances: Array) -> _Part:
    if wind is None:
        return _NOTHING
    speed, blows_from = wind["speed"], wind["from"]
    found = wind_table(shot, distances, np.array([speed]), np.array([blows_from]), sight)
    return _Part(
        columns={
            "drift": found.drift,
            "windage_clicks": found.windage_clicks,
            "wind_speed": speed,
            "wind_from": blows_from,
        },
        errors=(found.error,),
        position_errors=(found.position_error,),
        airspeeds=(found.airspeed_range,),
    )


def _roll(allowance: Mapping[str, float] | None, shot: Shot, distances: Array) -> _Part:
    if allowance is None:
        return _NOTHING
    diameter = allowance["diameter"]
    found = cant_table(shot, distances, np.zeros(1), Allowance(radius=diameter / 2.0))
    return _Part(
        columns={
            "greatest_roll": found.max_cant,
            "allowance": diameter,
            "roll_tried": MOST_ROLL,
        },
        position_errors=(found.error,),
        airspeeds=(found.airspeed_range,),
    )
