"""POST /v1/sight-travel: what fits the sight's window, before and after the sight is moved."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from flask import Response, request
from marshmallow import ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.distances import pointer
from arrowloft.api.replies import CSV, JSON, Column, ReplyUnits
from arrowloft.api.reply_schemas import reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.sight.housing import blocked_note, housing_limit, housing_of, limit_reply
from arrowloft.api.sight.sight_members import TRAVEL_REPLY, travel_members
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.api.spans import span, spans
from arrowloft.core.arrays import Array, Mask
from arrowloft.core.sight.housing import Housing
from arrowloft.core.sight.sight import Sight
from arrowloft.core.sight.sight_window import (
    Brought,
    Curve,
    Search,
    Span,
    Step,
    Window,
    brought,
    searched,
    shifts_after,
    without,
)
from arrowloft.plugin import Note

_PROVE = Note(
    "prove-after-shift",
    "Whenever the sight as a whole is moved, prove one mark by shooting before you rely on the "
    "others.",
)
_NOTHING = "With the sight moved so, it shows no distance of the search that can be shot: "
_OTHER_WAY = "make the shift smaller, or turn it the other way."
_IN_THE_WAY = (
    "those that the window spans are forbidden by the housing, which the arrow would meet."
)


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "SightTravelRequest", edge.models, travel_members(edge.limits.distances), sight=True
    )

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV)
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        _check_screw(asked)
        setup = resolve(asked, edge.registry)
        notes: list[Note] = []
        sight = sight_of(asked["sight"], zero_distance(asked, notes))
        housing = housing_of(asked["housing"], asked, notes) if "housing" in asked else None
        with solving(setup.units, _pointer(body, asked)):
            moved = _moved(asked, setup, sight, housing)
        notes += [*_notes(moved, setup.units), *setup.flown_notes(moved.airspeeds)]
        units, found = setup.units, _columns(moved)
        rows = zip(units.rows(found), moved.fits.tolist(), strict=True)
        if form == CSV:
            heads = [*(units.heading(column) for column in found), "fits"]
            return replies.csv_reply(heads, [[*row, str(fits).lower()] for row, fits in rows])
        names = [column.name for column in found]
        table = [dict(zip(names, row, strict=True)) | {"fits": fits} for row, fits in rows]
        return replies.json_reply(setup.reply(_own(moved, units, table), notes), forms=2)

    return Resource(
        path="/v1/sight-travel",
        name="sight_travel",
        summary="What fits the sight's window, before and after the sight is moved",
        description="Finds the distances whose marks a sight shows, moves the whole sight by "
        "`shifts` or so that `bring` has a mark where it is wanted, and gives the marks "
        "after it.",
        view=view,
        request=schema,
        reply=reply_schema("SightTravelReply", TRAVEL_REPLY),
        forms=(CSV,),
        problems=FLIGHT_PROBLEMS,
    )


def _check_screw(asked: Mapping[str, Any]) -> None:
    """Turns need a screw, clicks one that clicks."""
    for name in ("turns", "clicks"):
        needed = ["travel_per_turn"] + ["clicks_per_turn"] * (name == "clicks")
        missing = [member for member in needed if member not in asked["sight"]]
        at_fault = [i for i, step in enumerate(asked.get("shifts", ())) if name in step]
        if missing and at_fault:
            what = " and ".join(f"sight.{member}" for member in missing)
            sentence = f"{name.capitalize()} need {what}: add it, or give the shift as a length."
            raise ValidationError({"shifts": {i: {name: [sentence]} for i in at_fault}})


def _named(asked: Mapping[str, Any]) -> dict[str, float]:
    """Distances, m, that the request names beside the rows', by JSON pointer."""
    members = {"window": ("nearest", "farthest"), "bring": ("distance", "onto")}
    return {
        f"/{name}/{end}": asked[name][end]
        for name, ends in members.items()
        for end in ends
        if end in asked.get(name, {})
    }


def _pointer(body: dict[str, Any], asked: Mapping[str, Any]) -> Callable[[int], str]:
    """Lane of the core -> JSON pointer: rows, named distances, zero, then the search."""
    rows, named = len(asked["distances"]), list(_named(asked))
    near, far = (f"/search/{end}" for end in ("nearest", "farthest"))
    beyond = far if "farthest" in asked.get("search", {}) else "/distances"

    def pointer_of(lane: int) -> str:
        if lane < rows:
            return pointer(body, lane)
        lane -= rows
        if lane < len(named):
            return named[lane]
        if lane == len(named):
            return "/sight/zero_distance"
        # Too near are only the first lanes of the search, beyond reach only the last.
        return near if lane == len(named) + 1 else beyond

    return pointer_of


@dataclass(frozen=True, kw_only=True)
class _Moved:
    """What the view found: arrays (rows,), SI."""

    zero_distance: float
    distance: Array
    travel: Array
    position: Array
    reading: Array | None
    rounding_up: Array | None
    housing_clearance: Array | None
    fits: Mask
    before: Window
    now: Window
    ends: Span
    fits_before: list[Span]
    fits_now: list[Span]
    spanned_now: bool
    brought: Brought | None
    brought_blocked: float | None
    housing_limit: tuple[float | None, str] | None
    error: float
    airspeeds: Span


def _moved(asked: Mapping[str, Any], setup: Setup, sight: Sight, housing: Housing | None) -> _Moved:
    shot, named = setup.shot(asked), _named(asked)
    rows = len(asked["distances"])
    curve = _curve(asked, setup, sight, np.array([*asked["distances"], *named.values()]))
    places = dict(zip(named, curve.travel[rows:].tolist(), strict=True))
    before = _window(asked["window"], curve, places)
    shift, brought_ = _shift(asked, setup.units, sight, before, places)
    now = before.shifted(shift)
    lowest, limit, clearance = np.inf, None, None
    if housing is not None:
        steepest = housing.steepest(shot, sight.radius)
        lowest = np.inf if steepest is None else curve.travel_of_angle(steepest)
        limit = housing_limit(housing, shot, sight.radius)
        clearance = housing.clearance(shot, sight.radius, curve.marks.launch_angle)
    fits_before, fits_now = curve.spans((before, now), lowest)
    travel, marks = curve.travel[:rows], curve.marks.lanes(slice(0, rows))
    clear = np.ones(rows + len(named), dtype=bool) if clearance is None else clearance > 0.0
    blocked = [at for at, free in zip(named, clear[rows:], strict=True) if not free]
    rounded = brought_ is not None and brought_.clicks is not None
    return _Moved(
        zero_distance=sight.zero_distance,
        distance=marks.distance,
        travel=travel,
        position=travel - shift,
        reading=sight.setting(travel - shift).reading,
        rounding_up=brought_.rise(sight.radius, marks) if brought_ and rounded else None,
        housing_clearance=None if clearance is None else clearance[:rows],
        fits=now.holds(travel) & clear[:rows],
        before=before,
        now=now,
        ends=curve.ends,
        fits_before=fits_before,
        fits_now=fits_now,
        spanned_now=bool(fits_now or curve.spans([now])[0]),
        brought=brought_,
        brought_blocked=named["/bring/distance"] if "/bring/distance" in blocked else None,
        housing_limit=limit,
        error=float(curve.flown.error.max()),
        airspeeds=curve.airspeeds(max([0.0, *(end for _, end in fits_before + fits_now)])),
    )


def _curve(asked: Mapping[str, Any], setup: Setup, sight: Sight, distances: Array) -> Curve:
    shot = setup.shot(asked)
    ends = searched(shot, Search(**asked.get("search", {})), distances)
    if not ends[0] < ends[1]:
        low, high = (setup.units.text(end, "distance") for end in ends)
        name = "farthest" if "farthest" in asked.get("search", {}) else "nearest"
        sentence = f"There is nothing between {low} and {high}: give a longer span to search."
        raise ValidationError({"search": {name: [sentence]}})
    near, far = (asked["window"].get(name, ends[0]) for name in ("nearest", "farthest"))
    over = min(ends[0], near), max(ends[1], far)
    return Curve.of(shot, sight, distances, ends, over)


def _window(asked: Mapping[str, Any], curve: Curve, places: Mapping[str, float]) -> Window:
    if "up" in asked:
        return Window(top=-asked["up"], bottom=asked["down"])
    ends = [(asked[name], places[f"/window/{name}"]) for name in ("nearest", "farthest")]
    return curve.window_of(*ends)


def _shift(
    asked: Mapping[str, Any],
    units: ReplyUnits,
    sight: Sight,
    window: Window,
    places: Mapping[str, float],
) -> tuple[float, Brought | None]:
    """Shift of the whole sight after the steps and the move of `bring`, m, and that move."""
    room = asked.get("adjustment", {"up": np.inf, "down": np.inf})
    steps = [Step(**step) for step in asked.get("shifts", ())]
    after = shifts_after(steps, sight.elevation)
    for index, shift in enumerate(after):
        if _out_of(room, shift):
            raise ValidationError({"shifts": {index: [_beyond(room, shift, units)]}})
    shift = after[-1] if after else 0.0
    wanted = asked.get("bring")
    if wanted is None:
        return shift, None
    mark = places["/bring/distance"]
    if "onto" in wanted:
        move = brought(mark - places["/bring/onto"], sight.elevation)
    else:
        exact = mark - window.place(wanted["to"]) - shift
        move = brought(exact, sight.elevation, wanted["to"])
    if move.clicks is None:
        shift += move.made
    else:
        shift = shifts_after([*steps, Step(clicks=move.clicks)], sight.elevation)[-1]
    if _out_of(room, shift):
        raise ValidationError({"bring": [_beyond(room, shift, units)]})
    return shift, move


def _out_of(room: Mapping[str, float], shift: float) -> bool:
    return not -room["up"] - 1e-9 <= shift <= room["down"] + 1e-9


def _beyond(room: Mapping[str, float], shift: float, units: ReplyUnits) -> str:
    """The sentence for a shift, m, that the sight's adjustment does not reach."""
    asked, up, down = (units.text(m, "length") for m in (abs(shift), room["up"], room["down"]))
    return (
        f"This would have the whole sight {asked} {'down' if shift > 0.0 else 'up'} of where it "
        f"is: no turn of the screw reaches that. It can be moved {up} up and {down} down."
    )


def _notes(moved: _Moved, units: ReplyUnits) -> list[Note]:
    notes = []
    if not moved.fits_now:
        why = _IN_THE_WAY if moved.spanned_now else _OTHER_WAY
        notes.append(Note("nothing-fits", _NOTHING + why))
    if moved.housing_clearance is not None:
        blocked = moved.distance[~(moved.housing_clearance > 0.0)].tolist()
        if moved.brought_blocked is not None and moved.brought_blocked not in blocked:
            blocked.append(moved.brought_blocked)
        if blocked:
            notes.insert(0, blocked_note(blocked, units))
    return [*notes, _PROVE]


def _columns(moved: _Moved) -> list[Column]:
    dimensions = {"distance": "distance", "reading": "number"}
    names = ("distance", "travel", "position", "reading", "rounding_up", "housing_clearance")
    return [
        Column(name, dimensions.get(name, "length"), values)
        for name in names
        if (values := getattr(moved, name)) is not None
    ]


def _own(moved: _Moved, units: ReplyUnits, rows: list[dict[str, Any]]) -> dict[str, Any]:
    value = units.value
    own: dict[str, Any] = {"zero_distance": value(moved.zero_distance, "distance")}
    for name, window in (("window_before", moved.before), ("window_now", moved.now)):
        top, bottom = window.edges
        own[name] = {"top": value(top, "length"), "bottom": value(bottom, "length")}
    own["shift"] = value(moved.now.shift, "length")
    if moved.brought is not None:
        own["bring"] = _bring(moved.brought, units)
    own["search"] = span(moved.ends, units)
    own["fits_before"] = spans(moved.fits_before, units)
    own["fits_now"] = spans(moved.fits_now, units)
    own["lost"] = spans(without(moved.fits_before, moved.fits_now), units)
    own["gained"] = spans(without(moved.fits_now, moved.fits_before), units)
    if moved.housing_limit is not None:
        own |= limit_reply(moved.housing_limit, units)
    own["rows"] = rows
    own["solution"] = replies.solution(units, moved.airspeeds, angle=moved.error)
    return own


def _bring(move: Brought, units: ReplyUnits) -> dict[str, Any]:
    lengths = {"exact": move.exact, "shift": move.made, "remaining": move.remaining}
    found: dict[str, Any] = {name: units.value(m, "length") for name, m in lengths.items()}
    if move.turns is not None:
        found["turns"] = units.value(move.turns, "number")
    if move.clicks is not None:
        found["clicks"] = move.clicks
    return found
