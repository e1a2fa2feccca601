"""POST /v1/error-budget: what each input does to the impact, and what is worth fixing."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from flask import Response, request
from marshmallow import ValidationError

from arrowloft import units as unit_table
from arrowloft.api import reading, replies
from arrowloft.api.archer.groups import group_notes, group_of, group_reply
from arrowloft.api.blame import Blamed, solving
from arrowloft.api.chances.budget_members import (
    BUDGET_REPLY,
    CLICK,
    INPUTS,
    budget_members,
    unit_of_input,
)
from arrowloft.api.chances.budget_notes import DRAW_UNKNOWN, budget_notes, pictured
from arrowloft.api.distances import pointer
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import CSV, JSON, ReplyUnits, significant
from arrowloft.api.reply_schemas import reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.sight.sights import sight_of
from arrowloft.api.wording import sentence
from arrowloft.core.arrays import Array
from arrowloft.core.chances.budget_inputs import (
    SPEED_SCATTER,
    Draw,
    Input,
    click_input,
    draw_input,
    usual_inputs,
)
from arrowloft.core.chances.budget_scene import Scene
from arrowloft.core.chances.error_budget import ErrorBudget, Explained, error_budget, explained
from arrowloft.core.setup.air import air
from arrowloft.core.setup.equipment import Bow
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import LaunchCase
from arrowloft.plugin.guard import guarded_launch

_TRIED = 0.01
"""Share of a mass or a draw length by which a launch model is tried."""

_KNOWS = 0.05
"""Least relative change of the speed per relative change of what a launch model knows: sharing
energy gives 0.3 and more, undoing the way to a chronograph's gate some thousandths."""

_MOST_SHARE = 0.2
"""Largest scatter of speed and mass, as a share of them."""


class _Launches:
    """What the launch model gives for other masses and draw lengths."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup

    def of_mass(self, mass: Array) -> Array:
        """Launch speeds for arrow masses, kg, (lanes,)."""
        return self._speed(self.setup.bow, mass)

    def of_draw(self, length: Array) -> Array:
        """Launch speeds for draw lengths, m, (lanes,)."""
        bow = replace(self.setup.bow, draw_length=length)
        return self._speed(bow, np.full(length.shape, self.setup.arrow.mass))

    def knows_mass(self) -> bool:
        """Whether the speed follows from the mass."""
        return self._changes(self.of_mass(self.setup.arrow.mass * _around()))

    def knows_draw(self) -> bool:
        """Whether there is a draw length, and the speed follows from it."""
        length = self.setup.bow.draw_length
        return length is not None and self._changes(self.of_draw(length * _around()))

    def _speed(self, bow: Bow, mass: Array) -> Array:
        arrow = replace(self.setup.arrow, mass=mass)
        case = LaunchCase(bow, arrow, self.setup.air, self.setup.law)
        with Blamed("launch"):
            return np.asarray(guarded_launch(self.setup.launch, case).speed)

    def _changes(self, speeds: Array) -> bool:
        less, more = speeds
        return abs(math.log(more / less)) >= 2.0 * _TRIED * _KNOWS


def _around() -> Array:
    return np.array([1.0 - _TRIED, 1.0 + _TRIED])


def resource(edge: Edge) -> Resource:
    """The resource."""
    # One cell for each distance and input.
    most = min(edge.limits.distances, edge.limits.cells // (len(INPUTS) + 1))
    schema = request_schema("ErrorBudgetRequest", edge.models, budget_members(most), sight=True)
    drawn = edge.pictures.error_budget

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        distances, given = np.array(asked["distances"]), asked.get("scatter", {})
        setup = resolve(asked, edge.registry)
        launches = _Launches(setup)
        # Shifts count from the marks themselves: no zero distance enters.
        sight = sight_of(asked["sight"], float(distances[0]))
        inputs = _inputs(setup.shot(asked), sight, setup, launches, given)
        with solving(setup.units, lambda lane: pointer(body, lane)):
            budget = error_budget(setup.shot(asked), distances, inputs)
        flown = setup.flown_notes(budget.airspeed_range)
        if form == CSV:
            return _csv(budget, setup.units)
        group = group_of(asked["group"]) if "group" in asked else None
        beside = None if group is None else explained(budget, group)
        notes = budget_notes(budget, beside, setup, "speed" in given, launches.knows_mass())
        if form in PICTURED:
            scene = Scene(
                budget=budget,
                shot=setup.shot(asked),
                group=group,
                beside=beside,
                cautions=pictured(notes),
            )
            return picture_reply(drawn, scene, setup.units.chosen, form)
        own: dict[str, Any] = {
            "rows": _rows(budget, beside, setup.units),
            "worth_fixing": [
                {"input": name, "share": setup.units.value(share, "number")}
                for name, share in budget.worth_fixing()
            ],
            "solution": {
                **replies.solution(
                    setup.units,
                    budget.airspeed_range,
                    angle=budget.aimed_error,
                    position=budget.position_error,
                ),
                "shift_error": significant(budget.relative_error, 3),
            },
        }
        if group is not None:
            own["group"] = group_reply(group, setup.units)
            notes += group_notes(group)
        return replies.json_reply(setup.reply(own, [*notes, *flown]), forms=2)

    return Resource(
        path="/v1/error-budget",
        name="error_budget",
        summary="What is worth fixing",
        description="Puts every input off by a little while the sight keeps its mark, and says how "
        "far the impact moves per unit. With the scatter of the inputs it gives the "
        "share of each, ranks them, and beside the archer's group says what is left "
        "unexplained. As image/svg+xml or application/pdf, a picture of the shares.",
        view=view,
        request=schema,
        reply=reply_schema("ErrorBudgetReply", BUDGET_REPLY),
        forms=(CSV, *PICTURED),
        problems=FLIGHT_PROBLEMS,
    )


def _inputs(
    shot: Shot, sight: Sight, setup: Setup, launches: _Launches, given: Mapping[str, float]
) -> dict[str, Input]:
    """The core's inputs with the scatter asked for, in the order of the reply."""
    _check_scatter(setup, given)
    of_mass = launches.of_mass if launches.knows_mass() else None
    found = usual_inputs(shot, sight.radius, of_mass)
    if launches.knows_draw():
        bow = setup.bow
        carries = bow.launch_forward is None and None not in (
            bow.power_stroke,
            setup.arrow.balance_point,
        )
        assert bow.draw_length is not None
        draw = Draw(speed=launches.of_draw, length=float(bow.draw_length), carries=carries)
        found["draw_length"] = draw_input(sight.radius, draw)
    elif "draw_length" in given:
        raise ValidationError({"scatter": {"draw_length": [DRAW_UNKNOWN]}})
    scatter = {"speed": SPEED_SCATTER * setup.speed, **given}
    inputs = {
        name: replace(found[name], scatter=scatter.get(name)) for name in INPUTS if name in found
    }
    thread = sight.elevation
    if thread is not None and thread.clicks_per_turn is not None:
        travel = thread.travel_per_turn / thread.clicks_per_turn
        inputs[CLICK] = click_input(sight.radius, travel)
    return inputs


def _check_scatter(setup: Setup, given: Mapping[str, float]) -> None:
    """Refuse a scatter as large as what scatters, and an air that cannot be."""
    faults = {}
    for name, whole in (("speed", setup.speed), ("mass", float(setup.arrow.mass))):
        if given.get(name, 0.0) > _MOST_SHARE * whole:
            most = setup.units.roughly(_MOST_SHARE * whole, INPUTS[name].dimension)
            faults[name] = [f"Give at most a fifth of the {name} itself, {most}."]
    if faults:
        raise ValidationError({"scatter": faults})
    now = setup.air
    try:
        # Warmer or thinner air holds less than its relative humidity would have it hold.
        for warmer, thinner in ((max(3.0, given.get("temperature", 0.0)), 0.0), (0.0, 1.0)):
            less = max(0.03 * float(now.pressure), given.get("pressure", 0.0)) * thinner
            air(
                temperature=now.temperature + warmer,
                pressure=now.pressure - less,
                relative_humidity=now.relative_humidity,
            )
    except ValueError as error:
        detail = sentence(f"this air leaves no room for changes: {error}")
        raise Problem("invalid-request", detail, (Fault("/air", detail),)) from None


def _rows(budget: ErrorBudget, beside: Explained | None, units: ReplyUnits) -> list[dict[str, Any]]:
    """One object a distance."""
    value, rows = units.value, []
    kinds = [unit_of_input(name, units) for name in budget.names]
    for at, distance in enumerate(budget.distance):
        row: dict[str, Any] = {
            "distance": value(distance, "distance"),
            "up": value(budget.total_up[at], "length"),
            "right": value(budget.total_right[at], "length"),
        }
        if beside is not None:
            row |= {
                "group_up": value(beside.up[at], "length"),
                "group_right": value(beside.right[at], "length"),
                "explained": value(beside.share[at], "number"),
                "unexplained": value(1.0 - beside.share[at], "number"),
                "left_up": value(beside.left_up[at], "length"),
                "left_right": value(beside.left_right[at], "length"),
            }
        row["inputs"] = [_input(budget, units, of, at, *kind) for of, kind in enumerate(kinds)]
        rows.append(row)
    return rows


def _input(
    budget: ErrorBudget, units: ReplyUnits, of: int, at: int, unit: str, worth: float
) -> dict[str, Any]:
    """One input at one distance; what is not known is None."""
    length = unit_table.DIMENSIONS["length"][units.chosen["length"]].factor

    def maybe(si: float, dimension: str) -> float | None:
        return None if math.isnan(si) else units.value(si, dimension)

    def per_unit(si: float) -> float | None:
        return None if math.isnan(si) else significant(_exact(si) * worth / length)

    scatter = budget.scatter[of]
    return {
        "input": budget.names[of],
        "unit": unit,
        "up_per_unit": per_unit(budget.up[of, at]),
        "right_per_unit": per_unit(budget.right[of, at]),
        "scatter": None if math.isnan(scatter) else significant(scatter / worth),
        "up": maybe(budget.sd_up[of, at], "length"),
        "right": maybe(budget.sd_right[of, at], "length"),
        "share": maybe(budget.share[of, at], "number"),
        "rank": int(budget.rank[of, at]) or None,
        "widens_group": bool(budget.widens[of]),
    }


def _exact(shift: float) -> float:
    """The shift, or 0 for what is rounding alone."""
    return float(shift) if abs(shift) > 1e-12 else 0.0


def _csv(budget: ErrorBudget, units: ReplyUnits) -> Response:
    """One line for each distance and input."""
    rows = _rows(budget, None, units)
    lengths = ("up_per_unit", "right_per_unit", "up", "right")
    names = list(rows[0]["inputs"][0])
    heads = [f"{name} ({units.chosen['length']})" if name in lengths else name for name in names]
    lines = [
        [row["distance"], *(_word(item[name]) for name in names)]
        for row in rows
        for item in row["inputs"]
    ]
    return replies.csv_reply([f"distance ({units.chosen['distance']})", *heads], lines)


def _word(value: Any) -> Any:
    return str(value).lower() if isinstance(value, bool) else value
