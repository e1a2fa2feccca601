"""POST /v1/comparison: launch and drag models side by side in one set-up."""

from collections.abc import Mapping

import numpy as np
from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.comparing.comparison_reply import Compared, csv, path_reply
from arrowloft.api.comparing.comparison_scene import scene_of
from arrowloft.api.comparing.comparison_schemas import comparison_reply
from arrowloft.api.comparing.lanes import Lanes
from arrowloft.api.comparing.members import (
    TOLERANCES,
    baseline_of,
    check_lanes,
    check_path,
    comparison_schema,
    tolerance_of,
)
from arrowloft.api.conditions import weathervane
from arrowloft.api.distances import pointer
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.replies import CSV, JSON
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import notes_reply
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.core.comparing.partings import (
    Parting,
    parting_aside,
    parting_by_height,
    parting_by_travel,
)
from arrowloft.core.comparing.paths import paths
from arrowloft.core.comparing.side_by_side import SideBySide, side_by_side
from arrowloft.core.flight.motion import sideways
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import Note


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = comparison_schema(edge.models, edge.limits)
    drawn = edge.pictures.comparison

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        distances = np.array(asked["distances"])
        check_lanes(asked, edge.limits)
        check_path(asked, edge.limits)
        lanes, notes = Lanes.of(asked, edge.registry), list[Note]()
        sight = sight_of(asked["sight"], zero_distance(asked, notes)) if "sight" in asked else None
        baseline, setups = baseline_of(asked), lanes.setups(asked)
        units = lanes.lanes[0].setup.units

        def pointer_of(lane: int) -> str:
            return pointer(body, lane) if lane < distances.size else "/sight/zero_distance"

        def by_baseline(lane: int) -> str:
            return f" by the baseline, {lanes.lanes[lane].words}"

        with solving(units, pointer_of, by_baseline):
            table = side_by_side(
                setups,
                distances,
                baseline=baseline,
                sight=sight,
                speed_uncertainty=np.array([lane.setup.speed_uncertainty for lane in lanes.lanes]),
                drag_uncertainty=np.array([lane.setup.drag_uncertainty for lane in lanes.lanes]),
            )
        if form == CSV:
            return replies.csv_reply(*csv(Compared(units, lanes, table, {})))
        tolerance = tolerance_of(asked, aside=sideways(setups.shot))
        compared = Compared(units, lanes, table, _partings(table, sight, tolerance))
        own = compared.reply()
        if form in PICTURED:
            left = [item["range_left"] for item in own["summary"]]
            scene = scene_of(compared, asked, tolerance, left)
            return picture_reply(drawn, scene, units.chosen, form)
        if "path" in asked:
            with solving(units, lambda _: "/path/target"):
                found = paths(setups, **asked["path"])
            own["path"] = path_reply(units, asked["path"]["target"], found)
        own["tolerance"] = _tolerance_reply(units, tolerance)
        if sight is not None:
            own["zero_distance"] = units.value(sight.zero_distance, "distance")
        own["solution"] = compared.solution()
        shot = setups.shot
        notes = [
            *compared.short_notes(),
            *notes,
            *weathervane(shot.wind_speed, shot.wind_from, table.drift),
            *lanes.notes,
        ]
        own["notes"] = notes_reply(notes)
        return replies.json_reply(own | lanes.lanes[0].setup.conditions_reply(), forms=2)

    return Resource(
        path="/v1/comparison",
        name="comparison",
        summary="Models side by side",
        description="Flies one set-up with every launch model and each drag model, the same model "
        "with several parameters among them, all in one solve. Gives marks and flights "
        "of each lane beside their difference from a baseline, where a lane parts from "
        "it, and whether it left a range in which its models may be trusted. `up` and "
        "`right` are impacts with the baseline's mark kept; travel counts from each "
        "lane's own zero mark. A lane whose law has kinks, or that comes near its reach, is known "
        "to some hundredths of a millimetre; see `solution`. As image/svg+xml or "
        "application/pdf, a picture of the impacts and of the drag laws.",
        view=view,
        request=schema,
        reply=comparison_reply(),
        forms=(CSV, *PICTURED),
        problems=FLIGHT_PROBLEMS,
    )


def _partings(
    table: SideBySide, sight: Sight | None, tolerance: Mapping[str, float]
) -> dict[str, Parting]:
    found = {}
    if "height" in tolerance:
        found["height"] = parting_by_height(table.aimed, tolerance["height"])
    if "right" in tolerance:
        found["right"] = parting_aside(table.aimed, tolerance["right"])
    if "clicks" in tolerance:
        assert sight is not None and sight.elevation is not None
        travel = float(sight.elevation.travel_of(tolerance["clicks"]))
        found["clicks"] = parting_by_travel(table.aimed, travel)
    return found


def _tolerance_reply(units: replies.ReplyUnits, tolerance: Mapping[str, float]) -> dict[str, float]:
    return {name: units.value(value, TOLERANCES[name]) for name, value in tolerance.items()}
