"""What was seen on the range, as requests say it: arrows, proven marks, speeds."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

from marshmallow import ValidationError

from arrowloft.api.archer.landed import check_landed, landed_members
from arrowloft.api.fields import Flag, Items, Number, Part, Quantity, Text
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import Air, Site, Wind, distance, slope

FARTHEST, FARTHEST_ASIDE = 0.5, 0.1
"""Farthest travel of a pin from the zero mark, up or down and aside, m."""

_LANDED = ("impacts", "up", "right", "arrows", "vertical", "sideways", "diameter")
MARKS = ("travel", "turns", "clicks", "reading", "predicted_for")
"""Ways to say where the sight stood up and down; the last one by what was predicted."""

_KINDS = (
    "where arrows landed (`impacts`, or `up`), or `proven`: true for a mark that centres them "
    "already, or a measured `speed`"
)


class Mark(Strict):
    """Where the sight stood."""

    travel = Quantity(
        "length",
        "Travel of the pin from the zero mark, down positive.",
        example="18.9 mm",
        low=-FARTHEST,
        high=FARTHEST,
    )
    turns = Number("Turns of the screw from the zero mark, down positive.", low=-1e4, high=1e4)
    clicks = Number("Clicks from the zero mark, down positive.", low=-1e5, high=1e5)
    reading = Number("Reading of the sight's scale.", low=-1e5, high=1e5)
    predicted_for = distance(
        "The mark, or the pin, that /v1/mark-table gives for this distance; in whole clicks where "
        "the sight has them.",
        example="60 yd",
    )
    windage_travel = Quantity(
        "length",
        "Sideways travel of the pin from where it stands at the zero mark, right positive.",
        example="0.5 mm",
        low=-FARTHEST_ASIDE,
        high=FARTHEST_ASIDE,
    )
    windage_clicks = Number("The same in clicks, right positive.", low=-1e5, high=1e5)

    def check(self, data: dict[str, Any]) -> None:
        """One way to say it, up and down and aside."""
        given = [name for name in MARKS if name in data]
        if len(given) > 1:
            raise ValidationError(
                f"Give the mark in one way, not in several: {', '.join(given)}.", given[0]
            )
        if "windage_travel" in data and "windage_clicks" in data:
            raise ValidationError(
                "Give it in one way: leave out either this or `windage_clicks`.", "windage_travel"
            )


class SpeedSeen(Strict):
    """A measured speed."""

    value = Quantity(
        "speed", "The reading, or the mean.", example="262 ft/s", low=5.0, high=200.0, required=True
    )
    uncertainty = Quantity(
        "speed",
        "Its standard uncertainty; left out, 1 ft/s with 0.2 percent from shot to shot.",
        example="1 ft/s",
        low=1e-3,
        high=20.0,
    )


class _Seen(Strict):
    """One observation, of one kind."""

    def check(self, data: dict[str, Any]) -> None:
        """One kind, with the members that it has."""
        landed = [name for name in _LANDED if name in data]
        if "speed" in data:
            _refuse_beside(data, "speed", (*_LANDED, "mark", "proven", "uncertainty"))
        elif "proven" in data:
            _check_proven(data)
        elif landed:
            check_landed(data)
        else:
            raise ValidationError(f"Say what was seen: {_KINDS}.")


def _check_proven(data: Mapping[str, Any]) -> None:
    if data["proven"] is not True:
        raise ValidationError("Give true, or leave it out and say what was seen.", "proven")
    _refuse_beside(data, "proven", [name for name in _LANDED if name != "arrows"])
    if not any(name in data.get("mark", {}) for name in MARKS):
        raise ValidationError(
            "Say which mark is proven: give its travel, turns, clicks or reading, or "
            "`predicted_for` where the predicted mark proved right.",
            "mark",
        )


def _refuse_beside(data: Mapping[str, Any], kind: str, names: Sequence[str]) -> None:
    for name in names:
        if name in data:
            raise ValidationError(f"Leave this out beside `{kind}`: it has no meaning there.", name)


_OBSERVATION: dict[str, Member] = {
    "name": Text("A name for it, repeated in the reply.", most=60),
    "distance": distance("Distance of the target, or of the chronograph.", required=True),
    "mark": Part(Mark(), "Where the sight stood; left out, at the predicted mark of the distance."),
    **landed_members(),
    "proven": Flag(
        "true: arrows shot with this mark are known to centre on the aim point, as sure as "
        "`arrows` of them say, 6 if left out, or as `uncertainty` says."
    ),
    "uncertainty": Quantity(
        "length",
        "Standard uncertainty of the height of the centre at the target, where it is known "
        "otherwise than from the archer's scatter.",
        example="2 cm",
        low=1e-4,
        high=2.0,
    ),
    "speed": Part(SpeedSeen(), "A speed measured at the distance."),
    "slope": slope("Inclination of the line of sight there; left out, the set-up's."),
    "wind": Part(Wind(), "The wind there; left out, the set-up's."),
    "air": Part(Air(), "What of the air differed; the rest is the set-up's."),
    "site": Part(Site(), "What of the site differed; the rest is the set-up's."),
}
_SCHEMA = cast(type[Strict], _Seen.from_dict(cast(Any, _OBSERVATION), name="Observation"))


def observations_member(most: int) -> Member:
    """The request member that lists what was seen; the empty list: nothing yet."""
    return Items(
        Part(_SCHEMA()),
        "What was seen: arrows, proven marks, speeds; an empty list where nothing was yet.",
        least=0,
        most=most,
        required=True,
    )
