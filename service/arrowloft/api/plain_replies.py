"""Replies of computations without a flight: no launch, no drag, no air."""

from collections.abc import Mapping, Sequence
from typing import Any

from arrowloft import __version__
from arrowloft.api.replies import ReplyUnits, significant
from arrowloft.plugin import Note


def plain_reply(
    own: Mapping[str, Any], notes: Sequence[Note], gravity: float, units: ReplyUnits
) -> dict[str, Any]:
    """The body of such a reply, as `reply_schemas.plain_reply_schema` has it.

    notes: the worst of them foremost.  gravity: m/s2.
    """
    return {
        **own,
        "notes": [{"code": note.code, "message": note.message} for note in notes],
        "gravity": significant(gravity, 9),
        "units": units.chosen,
        "service": {"name": "arrowloft", "version": __version__},
    }
