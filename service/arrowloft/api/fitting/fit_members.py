"""What a fit is asked with: measured series, and the models to fit to them."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, cast

from marshmallow import ValidationError

from arrowloft.api.fields import Choice, Items, Part, Quantity, Text
from arrowloft.api.fitting.model_member import FittedModel
from arrowloft.api.labels import check_labels
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.resource import Limits
from arrowloft.api.schemas import Member, Strict, strict
from arrowloft.api.shared import (
    LEVEL_SLOPE,
    SPEEDS,
    Air,
    Arrow,
    Bow,
    Site,
    UnitChoice,
    Wind,
    distance,
    slope,
)

MOST_MODELS = 8
MOST_SERIES = 10
MOST_UNKNOWNS = 20
"""Of one model, those of the series included."""
MOST_TOGETHER = 32
"""Of all models together, which bounds the time of a request."""

MOST_PATHS = 240
"""That one evaluation of all models solves, which bounds the time of a request beside it."""

SERIES_UNKNOWNS = ("launch_speed", "launch_angle", "yaw", "clock")
"""Members of a series that may be unknown."""

MEASURED = ("speeds", "times", "drops", "positions")
_STEEPEST = math.radians(45)
_WITHIN = 1000.0


def plane() -> Quantity:
    """Distance of a plane that the tip passes."""
    return Quantity(
        "distance",
        "From the eye along the line of sight; the tip passes there.",
        example="20 m",
        low=0.1,
        high=_WITHIN,
        required=True,
    )


def uncertainty(dimension: str, example: str, low: float, high: float) -> Quantity:
    """The standard uncertainty that weighs an observation."""
    return Quantity(
        dimension,
        "Its standard uncertainty, that from shot to shot included; the fit weighs by it.",
        example=example,
        low=low,
        high=high,
        required=True,
    )


def time(description: str, **options: Any) -> Quantity:
    """A time by the clock of the series."""
    return Quantity("time", description, example="0.35 s", low=-_WITHIN, high=_WITHIN, **options)


def place(dimension: str, description: str, example: str, **options: Any) -> Quantity:
    """A coordinate of a tracked position."""
    return Quantity(dimension, description, example=example, low=-_WITHIN, high=_WITHIN, **options)


class SpeedAt(Strict):
    """A speed, as by a chronograph."""

    distance = plane()
    speed = Quantity(
        "speed",
        "Speed of the arrow as its tip passes.",
        example="262 ft/s",
        low=1.0,
        high=300.0,
        required=True,
    )
    uncertainty = uncertainty("speed", "1 ft/s", 1e-3, 50.0)


class TimeAt(Strict):
    """A time of flight."""

    distance = plane()
    time = time("When the tip passes, by the clock of the series.", required=True)
    uncertainty = uncertainty("time", "0.5 ms", 1e-6, 10.0)


class DropAt(Strict):
    """A drop."""

    distance = plane()
    drop = Quantity(
        "length",
        "How far the tip passes below the line along which the arrow was launched (the line of "
        "departure), perpendicular to the line of sight, in the plane at the distance.",
        example="1.25 m",
        low=-100.0,
        high=_WITHIN,
        required=True,
    )
    uncertainty = uncertainty("length", "5 mm", 1e-4, 10.0)


class PositionAt(Strict):
    """A tracked position."""

    time = time("When, by the clock of the series.", required=True)
    distance = place("distance", "From the eye along the line of sight.", "12.3 m", required=True)
    height = place("length", "Over the line of sight, perpendicular to it.", "85 mm", required=True)
    right = place("length", "To the right of the line of sight; left out, not seen.", "12 mm")
    uncertainty = uncertainty("length", "5 mm", 1e-4, 10.0)


class _Measured(Strict):
    """A series whose members fit together."""

    def check(self, data: dict[str, Any]) -> None:
        """Something was measured, the launch angle said once, nothing seen before the launch."""
        if not any(name in data for name in MEASURED):
            raise ValidationError(f"Say what was measured: at least one of {', '.join(MEASURED)}.")
        free = data.get("free", ())
        if len(set(free)) < len(free):
            raise ValidationError("Name each unknown once.", "free")
        if "aimed_at" in data and ("launch_angle" in data or "launch_angle" in free):
            raise ValidationError(
                "This decides the launch angle: leave out either this, or `launch_angle` here "
                "and in `free`.",
                "aimed_at",
            )
        if "clock" not in free:
            _check_clock(data)


def _check_clock(data: Mapping[str, Any]) -> None:
    clock = data.get("clock", 0.0)
    for name in ("times", "positions"):
        if any(item["time"] < clock for item in data.get(name, ())):
            raise ValidationError(
                "A time lies before the launch: give what the clock shows at the launch as "
                '`clock`, or let the fit find it with "free": ["clock"].',
                name,
            )


def _series_members(most: int) -> dict[str, Member]:
    def items(schema: Strict, description: str) -> Items:
        return Items(Part(schema), description, most=most)

    return {
        "name": Text("A name for it, used in the reply.", most=60),
        "speeds": items(SpeedAt(), "Speeds at distances."),
        "times": items(TimeAt(), "Times at distances."),
        "drops": items(DropAt(), "Drops at distances."),
        "positions": items(PositionAt(), "Tracked positions, in any order."),
        "tracked": Choice(
            ("balance-point", "tip"),
            "Which point of the arrow the positions are of; left out, the balance point.",
        ),
        "arrow": Part(Arrow(), "The arrow of this series; left out, the request's."),
        "air": Part(Air(), "What of the air differed; the rest is the request's."),
        "wind": Part(Wind(), "The wind; left out, none."),
        "slope": slope(LEVEL_SLOPE),
        "launch_speed": Quantity(
            "speed",
            "Speed as the arrow leaves the string, where it is known: it stands for what a launch "
            "model says. With `free`, where the fit starts.",
            example="278 ft/s",
            low=SPEEDS[0],
            high=SPEEDS[1],
        ),
        "launch_angle": Quantity(
            "angle",
            "The arrow's line above the line of sight; left out, along it. With `free`, where the "
            "fit starts.",
            example="2.1 deg",
            low=-_STEEPEST,
            high=_STEEPEST,
        ),
        "aimed_at": distance(
            "Instead of a launch angle: the distance at which the tip comes to the height of the "
            "line of sight.",
            example="30 m",
        ),
        "yaw": Quantity(
            "angle",
            "The arrow's line to the right of the line of sight; left out, none. With `free`, "
            "where the fit starts.",
            example="0.1 deg",
            low=-_STEEPEST,
            high=_STEEPEST,
        ),
        "clock": time(
            "What the clock of `times` and `positions` shows as the arrow leaves the string; left "
            "out, zero. With `free`, where the fit starts."
        ),
        "free": Items(
            Choice(SERIES_UNKNOWNS),
            "What of these the fit finds for this series alone.",
            least=0,
            most=len(SERIES_UNKNOWNS),
        ),
    }


class _Fit(Strict):
    """A request whose labels tell its models apart."""

    def check(self, data: dict[str, Any]) -> None:
        """Labels are unique."""
        check_labels("models", "models", labels_of(data["models"]))


def labels_of(models: Sequence[Mapping[str, Any]]) -> list[str]:
    """Each model's label, or its models' names."""
    return [item.get("label") or _names(item) for item in models]


def _names(model: Mapping[str, Any]) -> str:
    drag, launch = model["drag"].name, model.get("launch")
    return drag if launch is None else f"{drag}, {launch.name}"


def fit_schema(models: ModelSchemas, limits: Limits) -> Strict:
    """The request."""
    named = _Fit.from_dict(cast(Any, _members(models, limits)), name="FitRequest")
    return cast(type[Strict], named)()


def _members(models: ModelSchemas, limits: Limits) -> dict[str, Member]:
    """All members of the request."""
    series = cast(
        type[Strict],
        _Measured.from_dict(cast(Any, _series_members(limits.measurements)), name="MeasuredSeries"),
    )
    candidate = strict(
        "FitCandidate",
        {
            "label": Text(
                "A name for it, used in the reply and no other model's; left out, its models'.",
                most=60,
            ),
            "drag": FittedModel("drag", models, "The drag model.", required=True),
            "launch": FittedModel(
                "launch",
                models,
                "The launch-speed model; left out, the launch speed is itself unknown: one for "
                "each arrow, common to all series that do not give their own.",
            ),
        },
    )
    return {
        "bow": Part(Bow(), "The bow.", required=True),
        "arrow": Part(Arrow(), "The arrow.", required=True),
        "air": Part(Air(), "The air, as far as it was measured."),
        "site": Part(Site(), "Where the shots were taken."),
        "series": Items(
            Part(series()),
            "Measured series: each one arrow's flight, or several shots taken alike.",
            most=MOST_SERIES,
            required=True,
        ),
        "models": Items(
            Part(candidate()), "The models to fit and to rank.", most=MOST_MODELS, required=True
        ),
        "units": Part(UnitChoice(), "Units of the reply."),
    }
