"""POST /v1/cant-tolerance: how level the bow must be held, distance by distance."""

import math
from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any

import numpy as np
from flask import Response, request
from marshmallow import ValidationError

from arrowloft import units as unit_table
from arrowloft.api import reading, replies
from arrowloft.api.archer.groups import group_notes, group_of, group_reply
from arrowloft.api.blame import solving
from arrowloft.api.distances import check_cells, pointer
from arrowloft.api.level.cant_members import (
    CANTS,
    GROUP_COLUMNS,
    LEVEL,
    LINES,
    MATTERS,
    ROWS,
    cant_members,
    cant_reply,
)
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.replies import CSV, JSON, ReplyUnits
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Limits, Resource
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.tables import columns, csv_reply
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.level.cant import Allowance, CantTable, cant_table
from arrowloft.core.level.cant_scene import CantScene, cant_scene
from arrowloft.core.level.roll_scatter import group_table, matters_from
from arrowloft.core.level.roll_series import MOST_ROLL
from arrowloft.core.level.spirit_level import level_table
from arrowloft.plugin import Note

_HELD = Note(
    "aim-held-while-rolled",
    "The bow is rolled about the line of sight with the pin held on the aim point; shifts count "
    "from where the arrow of a level bow hits, wind included.",
)
_TWICE = Note(
    "group-without-roll",
    "The group is taken as shot with a level bow. A group shot by eye already holds some of the "
    "usual roll, and adding it again makes the shares look worse than they are.",
)
_UNKNOWN = Note(
    "matters-unknown",
    "From where the usual roll matters could not be found: some flights on the way there cannot "
    "be followed. `matters_from` is null for that reason; the rest of the answer stands.",
)


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "CantToleranceRequest", edge.models, cant_members(edge.limits), sight=False
    )
    drawn = edge.pictures.cant_tolerance

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        _check_together(asked, edge.limits)
        found = _Found(asked, body, resolve(asked, edge.registry))
        if form == CSV:
            return csv_reply(found.units, found.lines())
        if form in PICTURED:
            return picture_reply(drawn, found.scene(), found.units.chosen, form)
        own = found.table() | found.level() | found.live() | found.group()
        return replies.json_reply(found.reply(own), forms=2)

    return Resource(
        path="/v1/cant-tolerance",
        name="cant_tolerance",
        summary="How level to hold the bow",
        description="Aims the set-up at every distance, rolls the bow about the line of sight and "
        "gives the shift of the impact, with the largest cant that stays within an "
        "allowance. Given a group and the usual roll, also what roll costs; given a level"
        " that is off, what it does on slopes; given one reading, whether it will do. As "
        "CSV: the shifts, one line for each distance and cant. As image/svg+xml or "
        "application/pdf, a picture of the rolls allowed and of the shifts.",
        view=view,
        request=schema,
        reply=cant_reply(),
        forms=(CSV, *PICTURED),
        problems=FLIGHT_PROBLEMS,
    )


def _check_together(asked: Mapping[str, Any], limits: Limits) -> None:
    """Members that need each other, and tables that grow too large."""
    for name, needed in (("roll_scatter", "group"), ("matters_share", "roll_scatter")):
        if name in asked and needed not in asked:
            raise ValidationError(
                {name: [f"This needs `{needed}`: give it too, or leave this out."]}
            )
    if "distances" not in asked:
        if "live" not in asked:
            raise ValidationError({"distances": ["Give `distances`, `live` or both."]})
        for name in ("cants", "level"):
            if name in asked:
                raise ValidationError({name: ["This needs `distances`: give them too."]})
        return
    distances = len(asked["distances"])
    check_cells(distances, limits.cells, cants=len(asked.get("cants", CANTS)))
    if "level" in asked:
        check_cells(distances, limits.cells, slopes=len(asked["level"].get("slopes", (0.0,))))


class _Found:
    """What one request asks for, worked out part by part, and how well it was solved."""

    def __init__(self, asked: Mapping[str, Any], body: dict[str, Any], setup: Setup) -> None:
        self.asked, self.body, self.setup = asked, body, setup
        self.units = setup.units
        self.shot = setup.shot(asked)
        self.allowance = _allowance(asked["allowance"])
        self.distances = np.array(asked.get("distances", ()))
        self.cants = np.array(asked.get("cants", CANTS))
        self.group_shot = group_of(asked["group"]) if "group" in asked else None
        self.errors: list[float] = []
        self.airspeeds: list[tuple[float, float]] = []
        self.notes = [_HELD]

    def _flown(self, solved: Any) -> None:
        self.errors.append(solved.error)
        self.airspeeds.append(solved.airspeed_range)

    def _cant_table(self) -> CantTable:
        with solving(self.units, lambda lane: pointer(self.body, lane)):
            table = cant_table(self.shot, self.distances, self.cants, self.allowance)
        self._flown(table)
        return table

    def scene(self) -> CantScene:
        """What the picture shows."""
        if self.distances.size:
            self._cant_table()
        live = self.asked.get("live")
        reading = None if live is None else (live["distance"], live["roll"])
        with solving(self.units, lambda _: "/live/distance"):
            scene = cant_scene(
                self.shot,
                self.distances,
                self.cants,
                self.allowance,
                live=reading,
                roll_scatter=self.asked.get("roll_scatter"),
            )
        self.setup.flown_notes(scene.curve.airspeed_range)
        return scene

    def lines(self) -> list[replies.Column]:
        """The table as CSV has it: a line for each distance and cant."""
        if not self.distances.size:
            raise ValidationError({"distances": ["The CSV form lists distances: give them."]})
        table = self._cant_table()
        every = self.cants.size
        flat = SimpleNamespace(
            distance=np.repeat(table.distance, every),
            cant=np.tile(self.cants, self.distances.size),
            right=table.right.ravel(),
            up=table.up.ravel(),
            displacement=table.displacement.ravel(),
            max_cant=np.repeat(table.max_cant, every),
        )
        return columns(flat, LINES)

    def table(self) -> dict[str, Any]:
        """`cants` and `rows`, the group's columns with them."""
        cants = [self.units.value(cant, "angle") for cant in self.cants]
        if not self.distances.size:
            return {"cants": cants, "rows": []}
        table = self._cant_table()
        found = columns(table, ROWS)
        if self.group_shot is not None:
            shares = group_table(table, self.group_shot, self.asked.get("roll_scatter"))
            found += columns(shares, GROUP_COLUMNS)
        return {"cants": cants, "rows": self.units.json_rows(found)}

    def group(self) -> dict[str, Any]:
        """`group`, and `matters_from` where the archer's roll is given."""
        group = self.group_shot
        if group is None:
            return {}
        self.notes += group_notes(group)
        own: dict[str, Any] = {"group": group_reply(group, self.units)}
        scatter = self.asked.get("roll_scatter")
        if scatter is not None:
            self.notes.append(_TWICE)
            share = self.asked.get("matters_share", MATTERS)
            try:
                least = matters_from(self.shot, group, scatter, share)
            except Unsolved:
                least = math.nan
                self.notes.append(_UNKNOWN)
            own["matters_from"] = _or_none(self.units, least, "distance")
        return own

    def level(self) -> dict[str, Any]:
        """`level_rows`, where the level is off."""
        level = self.asked.get("level")
        if level is None:
            return {}
        slopes = np.array(level.get("slopes", (self.shot.slope,)))

        def at_row(row: int) -> str:
            return pointer(self.body, row % self.distances.size)

        def on_slope(case: int) -> str:
            return f" on a slope of {self.units.roughly(slopes[case], 'angle')}"

        with solving(self.units, at_row, on_slope):
            table = level_table(
                self.shot,
                slopes,
                self.distances,
                level.get("second_axis", 0.0),
                level.get("third_axis", 0.0),
            )
        self._flown(table)
        return {"level_rows": self.units.json_rows(columns(table, LEVEL))}

    def live(self) -> dict[str, Any]:
        """`live`, where a reading is given."""
        live = self.asked.get("live")
        if live is None:
            return {}
        roll, at = live["roll"], np.array([live["distance"]])
        with solving(self.units, lambda _: "/live/distance"):
            table = cant_table(self.shot, at, np.array([roll]), self.allowance)
        self._flown(table)
        side = table.max_cant_left if roll < 0.0 else table.max_cant_right
        # An arrow that never arrives is NaN, and outside.
        inside = bool(table.displacement[0, 0] <= table.allowance[0])
        shifts = {
            name: _or_none(self.units, getattr(table, name)[0, 0], "length")
            for name in ("right", "up", "displacement")
        }
        judged = {
            "distance": self.units.value(at[0], "distance"),
            "roll": self.units.value(roll, "angle"),
            "inside": inside,
            "allowance": self.units.value(table.allowance[0], "length"),
            **shifts,
            "max_roll": _or_none(self.units, side[0], "angle"),
            "correct": "none" if inside else f"top-limb-{_away(roll)}",
            "sentence": _sentence(self.units, roll, float(side[0]), inside),
        }
        return {"live": judged}

    def reply(self, own: dict[str, Any]) -> dict[str, Any]:
        """The whole reply: the parts, then how well they were solved, then the notes."""
        least = min(low for low, _ in self.airspeeds)
        greatest = max(high for _, high in self.airspeeds)
        speeds = (least, greatest)
        own["solution"] = replies.solution(self.units, speeds, position=max(self.errors))
        return self.setup.reply(own, [*self.notes, *self.setup.flown_notes(speeds)])


def _allowance(asked: Mapping[str, float]) -> Allowance:
    if "angle" in asked:
        return Allowance(angle=asked["angle"])
    return Allowance(radius=asked["radius"] if "radius" in asked else asked["diameter"] / 2.0)


def _or_none(units: ReplyUnits, si: float, dimension: str) -> float | None:
    return None if math.isnan(si) else units.value(si, dimension)


def _away(roll: float) -> str:
    """The side to turn the top limb to."""
    return "left" if roll > 0.0 else "right"


def _sentence(units: ReplyUnits, roll: float, most: float, inside: bool) -> str:
    """The answer for a display; most: largest roll to this side, rad, or NaN."""
    if math.isnan(most):
        return f"Inside: no roll up to {_short(units, MOST_ROLL)} leaves the allowance."
    near = abs(abs(roll) - most)
    if near < _JUST:
        side = "Inside" if inside else f"Turn the top limb to the {_away(roll)}: outside"
        return f"{side}, but only just."
    off = _short(units, near)
    if not inside:
        return f"Outside by {off}: turn the top limb to the {_away(roll)}."
    return f"Inside: {off} more to the {'left' if roll < 0.0 else 'right'} would still do."


_JUST = math.radians(0.05)
"""Roll that nobody can tell apart, rad."""


def _short(units: ReplyUnits, angle: float) -> str:
    """An angle to two digits and at most four decimals, with its unit."""
    unit = units.chosen["angle"]
    value = max(unit_table.from_si(angle, "angle", unit), 1e-4)
    return f"{value:.{min(max(1 - math.floor(math.log10(value)), 0), 4)}f} {unit}"
