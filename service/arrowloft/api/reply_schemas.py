"""What replies hold, for the document: the tests hold every reply against these."""

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields

from arrowloft import units
from arrowloft.api.schemas import Strict, strict


def quantity(dimension: str, description: str, *, required: bool = True) -> fields.Float:
    """A plain number in the reply's unit of the dimension."""
    return fields.Float(
        required=required,
        metadata={"description": f"{description} Unit: units.{dimension}."},
    )


def number(description: str, *, required: bool = True) -> fields.Float:
    """A number without a dimension."""
    return fields.Float(required=required, metadata={"description": description})


def whole(description: str, *, required: bool = True) -> fields.Integer:
    """A whole number."""
    return fields.Integer(required=required, metadata={"description": description})


def flag(description: str) -> fields.Boolean:
    """True or false."""
    return fields.Boolean(required=True, metadata={"description": description})


def text(description: str, *, required: bool = True, **more: Any) -> fields.String:
    """A text."""
    return fields.String(required=required, metadata={"description": description, **more})


def part(schema: Schema, description: str, *, required: bool = True) -> fields.Nested:
    """An object of its own schema."""
    return fields.Nested(schema, required=required, metadata={"description": description})


def many(schema: Schema, description: str, *, required: bool = True) -> fields.List[Any]:
    """A list of objects."""
    return fields.List(
        fields.Nested(schema), required=required, metadata={"description": description}
    )


def nullable(field: Any) -> Any:
    """The field, which null may stand in."""
    field.allow_none = True
    return field


class NoteReply(Strict):
    """A caution or an assumption."""

    code = text("Stable code of the note.")
    message = text("What was assumed, or what to be careful of.")


class SourceReply(Strict):
    """Where a model's equation or figures come from."""

    title = text("Author, work, year.")
    standing = text(
        "How far it was checked.",
        enum=["published", "from memory", "derived", "common practice"],
    )
    doi = text("Digital object identifier.", required=False)
    url = text("Address.", required=False)


class FigureReply(Strict):
    """An intermediate result of a model."""

    value = number("The figure.")
    unit = text("Its unit; empty for a plain number.")


class LaunchReply(Strict):
    """The launch as resolved."""

    model = text("Launch model.")
    version = text("Its version: it changes whenever an answer changes.")
    speed = quantity("speed", "Speed of the arrow as it leaves the string.")
    standard_uncertainty = quantity("speed", "Standard uncertainty of the speed.")
    launch_forward = quantity(
        "length", "Balance point ahead of the eye where the arrow leaves the string."
    )
    tip_lead = quantity("length", "Tip ahead of the balance point.")
    figures = fields.Dict(
        keys=fields.String(),
        values=fields.Nested(FigureReply()),
        required=True,
        metadata={"description": "Intermediate results of the model, by name."},
    )
    sources = many(SourceReply(), "The model's sources.")


class DragReply(Strict):
    """The drag as resolved."""

    model = text("Drag model.")
    version = text("Its version: it changes whenever an answer changes.")
    relative_uncertainty = number("Standard uncertainty of the drag area, as a share of it.")
    sources = many(SourceReply(), "The model's sources.")


class AirReply(Strict):
    """The air as resolved."""

    temperature = quantity("temperature", "Temperature.")
    pressure = quantity("pressure", "Pressure.")
    relative_humidity = number("Relative humidity, 0 to 1.")
    density = quantity("density", "Density, CIPM-2007.")
    viscosity = quantity("viscosity", "Dynamic viscosity.")
    speed_of_sound = quantity("speed", "Speed of sound.")


class SolutionReply(Strict):
    """How well the flights were solved."""

    error_estimate = quantity(
        "angle", "Estimated error of the launch angles, at most.", required=False
    )
    position_error = quantity(
        "length", "Estimated error of the positions and shifts, at most.", required=False
    )
    least_airspeed = quantity("speed", "Least airspeed flown.")
    greatest_airspeed = quantity("speed", "Greatest airspeed flown.")


class ServiceReply(Strict):
    """What computed the reply."""

    name = text("Name of the service.")
    version = text("Its version.")


_UNIT_MEMBERS: dict[str, Any] = {
    dimension: text(
        f"Unit of each {dimension.replace('_', ' ')}.", enum=list(units.units_of(dimension))
    )
    for dimension in units.DEFAULTS
}
UnitsReply = strict("UnitsReply", _UNIT_MEMBERS)


def plain_reply_schema(name: str, own: Mapping[str, Any]) -> Schema:
    """A computation's reply: its own members, then those that every reply has."""
    common: dict[str, Any] = {
        "notes": many(NoteReply(), "Cautions and assumptions."),
        "gravity": number("Acceleration of free fall, m/s2."),
        "units": part(UnitsReply(), "Unit of each dimension in this reply."),
        "service": part(ServiceReply(), "What computed it."),
    }
    return strict(name, {**own, **common})()


def reply_schema(name: str, own: Mapping[str, Any], *, drag_required: bool = True) -> Schema:
    """The reply of a computation of flights, which says what flew through what."""
    flown: dict[str, Any] = {
        "launch": part(LaunchReply(), "The launch as resolved."),
        "drag": part(DragReply(), "The drag as resolved.", required=drag_required),
        "air": part(AirReply(), "The air as resolved."),
    }
    return plain_reply_schema(name, {**own, **flown})


class ErrorReply(Strict):
    """One fault of the request."""

    pointer = text("JSON pointer (RFC 6901) to the member at fault; empty: the whole body.")
    detail = text("What to do about it.")


class Problem(Strict):
    """A problem after RFC 9457."""

    type = text("Reference to the kind of problem.", format="uri-reference")
    title = text("The kind in words.")
    status = whole("The HTTP status.")
    detail = text("This problem in words.")
    errors = many(ErrorReply(), "The members at fault, at most 20.")
    farthest = quantity(
        "distance", "Beyond reach: the farthest reachable distance.", required=False
    )
    model = text("The model that failed or refused.", required=False)
