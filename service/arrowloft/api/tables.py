"""Tables of results: what each column is called, measured in, and documented as."""

from collections.abc import Sequence
from typing import Any, NamedTuple

from flask import Response
from marshmallow import Schema, fields

from arrowloft.api import replies
from arrowloft.api.replies import Column, ReplyUnits
from arrowloft.api.reply_schemas import number, quantity, whole
from arrowloft.api.schemas import strict


class Head(NamedTuple):
    """The head of one column, and the attribute of the core's result that fills it.

    dimension: a name in the table of units; "number" for what has none.
    whole: whole numbers.  nullable: NaN becomes null.  listed: one list a row.
    optional: left out where the result has None, as for a sight without clicks.
    """

    name: str
    dimension: str
    description: str
    whole: bool = False
    nullable: bool = False
    listed: bool = False
    optional: bool = False


def columns(result: Any, heads: Sequence[Head]) -> list[Column]:
    """The columns that the result has."""
    return [
        Column(head.name, head.dimension, values, head.whole, head.nullable)
        for head in heads
        if (values := getattr(result, head.name)) is not None
    ]


def row_schema(name: str, heads: Sequence[Head]) -> Schema:
    """The schema of a row, for the document."""
    return strict(name, {head.name: _member(head) for head in heads})()


def csv_reply(units: ReplyUnits, found: Sequence[Column]) -> Response:
    """The columns as CSV, each heading with its unit, as in `travel (mm)`."""
    return replies.csv_reply([units.heading(column) for column in found], units.rows(found))


def _member(head: Head) -> fields.Field[Any]:
    if head.whole:
        member: fields.Field[Any] = whole(head.description, required=not head.optional)
    elif head.dimension == "number":
        member = number(head.description, required=not head.optional)
    else:
        member = quantity(head.dimension, head.description, required=not head.optional)
    member.allow_none = head.nullable
    if not head.listed:
        return member
    description = member.metadata["description"]
    return fields.List(member, required=not head.optional, metadata={"description": description})
