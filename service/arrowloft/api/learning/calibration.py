"""POST /v1/calibration: learn from the range, correct the marks, say what to shoot next."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import numpy as np
from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.archer.groups import group_notes, group_of
from arrowloft.api.archer.landed import (
    counts_unsaid,
    group_count_notes,
    landed_notes,
    scatter_notes,
)
from arrowloft.api.blame import solving
from arrowloft.api.distances import pointer
from arrowloft.api.learning.calibration_members import (
    CONFIDENCE,
    calibration_members,
    choices_of,
    prior_notes,
    prior_of,
    tolerance_of,
)
from arrowloft.api.learning.calibration_notes import session_notes
from arrowloft.api.learning.calibration_reply import (
    corrected_columns,
    correlations_reply,
    fit_reply,
    next_reply,
    parameters_reply,
    separation_reply,
)
from arrowloft.api.learning.calibration_reply_schemas import CALIBRATION_REPLY
from arrowloft.api.learning.observation_replies import observations_reply
from arrowloft.api.learning.observations import Seen, predicted_lanes, proven_notes, seen
from arrowloft.api.learning.slips import SLIPS
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.problems import KINDS, Fault, Problem
from arrowloft.api.replies import CSV, JSON
from arrowloft.api.reply_schemas import reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.api.tables import csv_reply
from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import require_ahead
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.learning.calibration_scene import CalibrationScene, calibration_scene
from arrowloft.core.learning.range_session import Aims, RangeSession, learn, range_session
from arrowloft.core.learning.whitened import NeverArrives
from arrowloft.core.sight.marks import MarkTable, mark_table
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import Note


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "CalibrationRequest",
        edge.models,
        calibration_members(edge.limits),
        launch_required=False,
        sight=True,
    )
    drawn = edge.pictures.calibration

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        setup = resolve(asked, edge.registry)
        notes: list[Note] = []
        sight = sight_of(asked["sight"], zero_distance(asked, notes))
        aims = _aims(asked, setup, notes)
        predicted = _predicted(asked, setup, sight, aims, body)
        was_seen, session = _session(asked, setup, sight, aims, body)
        units, found = setup.units, corrected_columns(session, aims, predicted, sight)
        if form == CSV:
            return csv_reply(units, found)
        flown = setup.flown_notes(session.marks.table.airspeed_range)
        if form in PICTURED:
            scene = _scene(asked, setup, sight, aims, was_seen, session)
            return picture_reply(drawn, scene, units.chosen, form)
        own: dict[str, Any] = {
            "zero_distance": units.value(sight.zero_distance, "distance"),
            "rows": units.json_rows(found),
            "next": next_reply(session, aims, units),
            "observations": observations_reply(asked, was_seen, session, sight, units),
            "parameters": parameters_reply(session.judged.calibration, units),
            "correlations": correlations_reply(session.judged.calibration),
            "separation": separation_reply(session, aims, units),
            "fit": fit_reply(session.judged, asked.get("loss", "squares")),
            "solution": replies.solution(
                units, session.marks.table.airspeed_range, angle=session.marks.table.error
            ),
        }
        told = [
            *session_notes(asked, was_seen, session, aims, units),
            *_assumed(asked, session),
            *prior_notes(asked, units),
            *notes,
            *flown,
        ]
        return replies.json_reply(setup.reply(own, told), forms=2)

    return Resource(
        path="/v1/calibration",
        name="calibration",
        summary="Marks corrected by what was seen on the range",
        description="Fits launch speed, drag, peep height, sight radius and the sight's zero to "
        "arrows, proven marks and speeds, each weighed by how sure it is, together with what was "
        "known before. Gives corrected marks with their uncertainties and chances, names what "
        "does not fit, and says what to shoot next and when to stop. Nothing is kept: send all "
        "observations each time. `launch` may be left out where marks are proven and no speed is "
        "known. As image/svg+xml or application/pdf, a picture of marks before and after, and of "
        "the ends beside them.",
        view=view,
        request=schema,
        reply=reply_schema("CalibrationReply", CALIBRATION_REPLY),
        forms=(CSV, *PICTURED),
        problems=(*FLIGHT_PROBLEMS, "cannot-be-fitted"),
    )


def _aims(asked: Mapping[str, Any], setup: Setup, notes: list[Note]) -> Aims:
    """What the archer is after."""
    distances = np.array(asked["distances"])
    choices = choices_of(asked, setup, distances)
    return Aims(
        distances=distances,
        tolerance=tolerance_of(asked, distances, notes),
        confidence=asked.get("confidence", CONFIDENCE),
        butts=choices.distances,
        arrows=choices.arrows,
    )


def _predicted(
    asked: Mapping[str, Any], setup: Setup, sight: Sight, aims: Aims, body: dict[str, Any]
) -> MarkTable | None:
    """Marks before the range; None without a launch model."""
    if "launch" not in asked:
        return None
    with solving(setup.units, _of_marks(body, aims.distances)):
        return mark_table(setup.shot(asked), sight, aims.distances)


def _session(
    asked: Mapping[str, Any], setup: Setup, sight: Sight, aims: Aims, body: dict[str, Any]
) -> tuple[Seen, RangeSession]:
    """What was seen, and what it tells."""
    lanes = predicted_lanes(asked)

    def of_predicted(lane: int) -> str:
        if lane == len(lanes):
            return "/sight/zero_distance"
        mark = asked["observations"][lanes[lane]].get("mark", {})
        member = "mark/predicted_for" if "predicted_for" in mark else "distance"
        return f"/observations/{lanes[lane]}/{member}"

    group = group_of(asked["group"]) if "group" in asked else None
    targets = np.array([item["distance"] for item in asked["observations"]])
    with solving(setup.units, lambda lane: f"/observations/{lane}/distance"):
        require_ahead(setup.shot(asked), targets)
    with solving(setup.units, of_predicted):
        was_seen = seen(asked, setup, sight, group)

    def of_reading(lane: int) -> str:
        if lane == 0:
            return "/sight/zero_distance"
        return f"/observations/{was_seen.readings[lane - 1]}/distance"

    with solving(setup.units, of_reading), _fitting(was_seen):
        learned = learn(
            setup.shot(asked),
            sight,
            prior_of(asked, setup, sight),
            was_seen.observations,
            group=group,
            loss=asked.get("loss", "squares"),
            slips=SLIPS,
        )
    with solving(setup.units, _of_marks(body, aims.distances, aims.butts)):
        return was_seen, range_session(learned, aims)


def _scene(
    asked: Mapping[str, Any],
    setup: Setup,
    sight: Sight,
    aims: Aims,
    was_seen: Seen,
    session: RangeSession,
) -> CalibrationScene:
    """What the picture shows."""
    with solving(setup.units, lambda _: "/distances"):
        return calibration_scene(
            setup.shot(asked),
            sight,
            aims,
            session,
            was_seen.observations,
            [(item.get("name", ""), "proven" in item) for item in asked["observations"]],
            predicted="launch" in asked,
        )


def _of_marks(
    body: dict[str, Any], distances: Array, butts: Array | None = None
) -> Callable[[int], str]:
    """Lane of the core -> JSON pointer: distances, then butts, then the zero, then pins."""
    first_butt = distances.size
    zero = first_butt + (0 if butts is None else butts.size)

    def pointer_of(lane: int) -> str:
        if lane < first_butt:
            return pointer(body, lane)
        if butts is not None and lane < zero:
            return _of_butt(body, distances, butts, lane - first_butt)
        return "/sight/zero_distance" if lane == zero else f"/sight/pins/{lane - zero - 1}"

    return pointer_of


def _of_butt(body: dict[str, Any], distances: Array, butts: Array, index: int) -> str:
    """JSON pointer to a butt; where none were asked for they are distances of the marks."""
    given = body.get("next", {})
    if "longest" in given:
        return "/next/longest"
    if "distances" in given:
        return f"/next/distances/{index}"
    return pointer(body, int(np.flatnonzero(distances == butts[index])[0]))


@contextmanager
def _fitting(was_seen: Seen) -> Iterator[None]:
    """Observations that cannot have been shot so, and fits that lead nowhere, as problems."""
    try:
        yield
    except NeverArrives as error:
        detail = (
            "As the set-up stands, no arrow shot with this mark comes to this distance: check the "
            "mark, its sign and its unit, and the distance."
        )
        places = [was_seen.ends[end] for end in error.ends]
        raise Problem(
            "invalid-request",
            detail,
            [Fault(f"/observations/{place}", detail) for place in places],
        ) from error
    except Unsolved as error:
        detail = KINDS["cannot-be-fitted"].advice
        raise Problem("cannot-be-fitted", detail, (Fault("/observations", detail),)) from error


def _assumed(asked: Mapping[str, Any], session: RangeSession) -> list[Note]:
    """What was assumed of the arrows and of the archer's scatter."""
    notes = scatter_notes(session.scatter)
    if "group" in asked:
        group = group_of(asked["group"])
        notes += [*group_notes(group), *group_count_notes(group)]
    unsaid = [
        f"/observations/{index}"
        for index, item in enumerate(asked["observations"])
        if counts_unsaid(item)
    ]
    return [*notes, *landed_notes(*unsaid), *proven_notes(asked)]
