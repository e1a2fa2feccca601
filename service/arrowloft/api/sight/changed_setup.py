"""A set-up told by what differs from the request's own: its members, its faults, its reply."""

import copy
import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from marshmallow import fields

from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.problems import Fault, Problem, from_case, from_model_fault
from arrowloft.api.reply_schemas import (
    AirReply,
    DragReply,
    LaunchReply,
    NoteReply,
    many,
    number,
    part,
)
from arrowloft.api.schemas import Strict
from arrowloft.api.setup import Setup
from arrowloft.api.shared import request_schema
from arrowloft.plugin import CaseError, Note
from arrowloft.plugin.guard import ModelFault

_log = logging.getLogger(__name__)

CHANGEABLE = ("bow", "arrow", "launch", "drag", "air", "site", "wind", "slope")
"""Shared members that another set-up may have of its own; the sight stays."""

_KNOWS_MASS = 0.05
"""Least relative change of the speed per relative change of the mass that tells a launch
model which knows the mass: sharing energy with the string gives 0.3 to 0.5, undoing the way
to a chronograph's gate gives some thousandths."""


class ChangedReply(Strict):
    """Another set-up as resolved."""

    launch = part(LaunchReply(), "The launch as resolved.")
    drag = part(DragReply(), "The drag as resolved.")
    air = part(AirReply(), "The air as resolved.")
    gravity = number("Acceleration of free fall, m/s2.")
    notes = many(NoteReply(), "Cautions and assumptions of this set-up.")


def changed_members(
    models: ModelSchemas, name: str, whose: str, first: str
) -> dict[str, fields.Field[Any]]:
    """The shared members that may differ, each of them optional.

    name: of the schema that they are taken from, unique.  whose, first: what has them, and
    what has those that are left out, in words.
    """
    shared = request_schema(name, models, {}).declared_fields
    return {
        member: _optional(shared[member], f"{whose} {member}; left out, {first}.")
        for member in CHANGEABLE
    }


def _optional(member: fields.Field[Any], description: str) -> fields.Field[Any]:
    changed = copy.copy(member)
    changed.required = False
    changed.metadata = {"description": description}
    return changed


def merged(asked: Mapping[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
    """Another set-up's members: air and site change piece by piece, the others whole.

    asked: the request's own.  given: those that differ.  The first's pressure belongs to its
    altitude: at another it is not kept.
    """
    later = {**asked, **given}
    for name in ("air", "site"):
        if name in given:
            later[name] = {**asked.get(name, {}), **given[name]}
    if "altitude" in given.get("site", {}) and "pressure" not in given.get("air", {}):
        later["air"] = {n: v for n, v in later.get("air", {}).items() if n != "pressure"}
    return later


@contextmanager
def faults_of(who: str, given: Mapping[str, Any], pointer: str) -> Iterator[None]:
    """Problems in here are another set-up's: they say so, and point into what was given.

    who: it is, as a sentence begins.  given: its members; a fault in any other points at the
    first's member.  pointer: JSON pointer to `given`.
    """
    try:
        yield
    except Problem as error:
        raise _told(error, who, given, pointer) from error
    except CaseError as error:
        raise _told(from_case(error), who, given, pointer) from error
    except ModelFault as error:
        _log.error("a model failed", exc_info=error)
        raise _told(from_model_fault(error), who, given, pointer) from error


def _told(problem: Problem, who: str, given: Mapping[str, Any], base: str) -> Problem:
    def into_given(pointer: str) -> str:
        member = pointer.split("/", 2)[1] if pointer else ""
        return f"{base}{pointer}" if member in given else pointer

    faults = [Fault(into_given(f.pointer), of_whom(who, f.detail)) for f in problem.errors]
    return Problem(problem.code, of_whom(who, problem.detail), faults, **problem.members)


def of_whom(who: str, detail: str) -> str:
    """A sentence that begins with whom it is about."""
    lowered = detail[:1].lower() if detail[1:2].islower() else detail[:1]
    return f"{who}: {lowered}{detail[1:]}"


def new_cautions(first: Setup, other: Setup, who: str) -> list[Note]:
    """The other set-up's cautions that the first has not, told where they are seen."""
    known = {note.code for note in first.notes}
    return [
        Note(note.code, of_whom(who, note.message))
        for note in other.notes
        if note.code not in known
    ]


def speed_kept(
    given: Mapping[str, Any], first: Setup, other: Setup, *, whose: str, member: str
) -> tuple[Note, ...]:
    """A caution where another mass leaves the launch speed as it was.

    whose: the other arrow, as a sentence begins.  member: what would say its launch.
    """
    heavier = abs(float(other.arrow.mass) / float(first.arrow.mass) - 1.0)
    faster = abs(other.speed / first.speed - 1.0)
    if "launch" in given or faster >= _KNOWS_MASS * heavier:
        return ()
    return (
        Note(
            "speed-not-adjusted",
            f"{whose} has another mass, of which the launch model {first.launch.name!r} "
            f"takes no account: it is taken to leave at the first's speed. Give {member}, or "
            "a launch model that knows the mass.",
        ),
    )


def must_suit(arrow: str) -> Note:
    """The caution that another arrow must suit the bow.  arrow: which, in words."""
    return Note(
        "arrow-must-suit-bow",
        f"Whether {arrow} suits the bow is not computed: spine, length and point, a "
        "broadhead's above all, must agree with the maker's chart, and its mass be no less than "
        "the maker's least.",
    )


def changed_reply(setup: Setup, notes: tuple[Note, ...]) -> dict[str, Any]:
    """What a reply says of another set-up.  notes: beside those of the set-up itself."""
    whole = setup.reply({})
    blocks = {name: whole[name] for name in ("launch", "drag", "air", "gravity")}
    told = [{"code": note.code, "message": note.message} for note in (*setup.notes, *notes)]
    return {**blocks, "notes": told}
