"""One arrow on its way past obstacles: what a clearance reply says of each of them."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from marshmallow import fields

from arrowloft.api.archer.groups import group_notes, group_of
from arrowloft.api.blame import solving
from arrowloft.api.path.clearance_notes import (
    NO_GROUP,
    chance_notes,
    close_notes,
    drift_notes,
    touched_note,
)
from arrowloft.api.path.ground import ground_of
from arrowloft.api.path.obstacles import Obstacles, obstacles_of
from arrowloft.api.reply_schemas import number, part, quantity, text
from arrowloft.api.schemas import Strict
from arrowloft.api.setup import Setup
from arrowloft.api.spans import span, span_part, spans, spans_part
from arrowloft.core.archer.groups import Group
from arrowloft.core.flight.geometry import seen_over_sight
from arrowloft.core.path.clear_targets import clear_targets, farthest_target
from arrowloft.core.path.clearance import Loosed, Passage
from arrowloft.core.path.ground import Ground
from arrowloft.core.path.patches import EDGES, margins, nearest_edges
from arrowloft.core.path.scatter import Scatter, corridor, touch_chance
from arrowloft.plugin import Note

DEFAULT_SHARE = 0.95


@dataclass(frozen=True, kw_only=True)
class Case:
    """One request on its way to its reply."""

    asked: Mapping[str, Any]
    setup: Setup
    loosed: Loosed
    envelope: float
    ground: Ground | None
    group: Group | None
    notes: list[Note]
    passages: list[Passage] = field(default_factory=list)
    errors: list[float] = field(default_factory=list)

    @classmethod
    def of(cls, asked: Mapping[str, Any], setup: Setup) -> "Case":
        """Aim, and take ground, group and envelope as asked.

        Raises ValidationError; TooNear, BeyondReach, Unsolved, as all that follows may.
        """
        notes: list[Note] = []
        target, shot = asked["target"], setup.shot(asked)
        ground = asked.get("ground")
        group = group_of(asked["group"]) if "group" in asked else None
        notes += group_notes(group) if group is not None else [NO_GROUP]
        resolved = None if ground is None else ground_of(ground, asked.get("slope", 0.0), target)
        nock_lead = _nock_lead(asked["arrow"], notes)
        loosed = Loosed.at(shot, target, nock_lead, aim_off=asked.get("aim_off", False))
        notes += drift_notes(loosed.drift, setup.units)
        return cls(
            asked=asked,
            setup=setup,
            loosed=loosed,
            envelope=_envelope(asked, notes),
            ground=resolved,
            group=group,
            notes=notes,
        )

    @property
    def share(self) -> float:
        """Share of arrows that lane and lowest branch are for."""
        return float(self.asked.get("lane", {}).get("share", DEFAULT_SHARE))

    def passes(self, distances: Any) -> tuple[Passage, Scatter | None]:
        """Where the arrow passes planes, and how the archer's arrows scatter there."""
        passage = self.loosed.passes(np.asarray(distances, dtype=float))
        self.passages.append(passage)
        return passage, None if self.group is None else Scatter.of(self.group, self.loosed, passage)

    def seen(self, distance: Any, up: Any, right: Any) -> list[dict[str, float]]:
        """Points as they are seen from the eye, and over the sight where there is one."""
        value = self.setup.units.value
        found = [
            {
                "angle_above": value(math.atan2(h, d), "angle"),
                "angle_right": value(math.atan2(z, d), "angle"),
            }
            for d, h, z in zip(distance, up, right, strict=True)
        ]
        if "sight" in self.asked:
            radius = self.asked["sight"]["radius"]
            over = seen_over_sight(distance, up, right, self.loosed.launch_angle, radius)
            for one, above, aside in zip(found, *over, strict=True):
                one["above_pin"] = value(above, "length")
                one["right_of_pin"] = value(aside, "length")
        return found


def _nock_lead(arrow: Mapping[str, Any], notes: list[Note]) -> float:
    """Nock ahead of the balance point, m; noted where it is not known."""
    balance = arrow.get("balance_point")
    if balance is not None:
        return -float(balance)
    notes.append(
        Note(
            "nock-unknown",
            "What lies behind the balance point is not known and was left out: in a cross wind "
            "the nock passes to one side of the tip. Give arrow.balance_point.",
        )
    )
    return 0.0


def _envelope(asked: Mapping[str, Any], notes: list[Note]) -> float:
    """How far the arrow reaches from its axis, m; noted where vanes are not known."""
    vane = asked.get("vane_height")
    if vane is None:
        notes.append(
            Note(
                "shaft-only",
                "Margins are those of the bare shaft: vanes reach farther. Give vane_height.",
            )
        )
    return float(0.5 * asked["arrow"]["shaft_diameter"] + (vane or 0.0))


class Seen(Strict):
    """Where a point of the path appears from the eye, the aim point held."""

    angle_above = quantity("angle", "Above the aim point.")
    angle_right = quantity("angle", "Right of the aim point.")
    above_pin = quantity("length", "Above the pin, in the pin's plane.", required=False)
    right_of_pin = quantity("length", "Right of the pin, in the pin's plane.", required=False)


def _edge(side: str) -> fields.Float:
    edge = quantity("length", f"Its {side} edge from the line of sight; null: unbounded.")
    edge.allow_none = True
    return edge


class ObstacleRow(Strict):
    """One obstacle, and how the arrow passes it."""

    name = text("As the request called it.")
    distance = quantity("distance", "Of its plane, along the line of sight.")
    bottom, top, left, right = (_edge(side) for side in EDGES)
    arrow_height = quantity("length", "Of the tip there, above the line of sight.")
    arrow_right = quantity("length", "Of the tip there, right of the line of sight.")
    arrow_above_ground = quantity(
        "length", "Of the tip there, vertically above the ground.", required=False
    )
    height_uncertainty = quantity(
        "length",
        "Standard uncertainty of `arrow_height` from what is not known of speed and drag, the "
        "target's mark being proven; null where it cannot be told.",
    )
    height_uncertainty.allow_none = True
    margin = quantity(
        "length",
        "Free space between the envelope of the whole arrow, tip to nock, and the obstacle; "
        "negative: how deep it touches.",
    )
    clear = fields.Boolean(
        required=True, metadata={"description": "Whether there is any free space."}
    )
    nearest_edge = text("The edge nearest the arrow.", enum=list(EDGES))
    touch_chance = number(
        "Chance that an arrow of the group touches it, 0 to 1, a little on the safe side.",
        required=False,
    )
    lowest_branch = quantity(
        "length",
        "Lowest bottom edge, from the line of sight, of a wide branch here that can be shot "
        "under; with a group, by the lane's share of the arrows.",
    )
    seen = part(Seen(), "Where the tip is seen as it passes.")
    clear_targets = spans_part("Target distances for which it is clear, the line of sight kept.")
    searched = span_part("Target distances that were searched.")


def obstacle_rows(case: Case) -> list[dict[str, Any]]:
    """The obstacles as the reply has them; noted where one is touched."""
    units = case.setup.units
    found = obstacles_of(case.asked["obstacles"], case.loosed.target, case.ground, units)
    passage, scatter = case.passes(found.distance)
    swept, patches, envelope = passage.swept, found.patches, case.envelope
    margin = margins(swept, patches, envelope)
    edges = nearest_edges(swept, patches)
    seen = case.seen(found.distance, swept.tip_up, swept.tip_right)
    under = corridor(swept, envelope, scatter, case.share).top
    setup = case.setup
    doubt = case.loosed.height_uncertainty(
        found.distance, setup.speed_uncertainty, setup.drag_uncertainty
    )
    rows: list[dict[str, Any]] = []
    for i, name in enumerate(found.names):
        length = _lengths(case, i)
        row = {
            "name": name,
            "distance": units.value(found.distance[i], "distance"),
            **{side: length(getattr(patches, side)) for side in EDGES},
            "arrow_height": length(swept.tip_up),
            "arrow_right": length(swept.tip_right),
            "height_uncertainty": length(np.where(np.isnan(doubt), np.inf, doubt)),
            "margin": length(margin),
            "clear": bool(margin[i] > 0.0),
            "nearest_edge": EDGES[edges[i]],
            "lowest_branch": length(under),
            "seen": seen[i],
        }
        rows.append(row)
    if case.ground is not None:
        heights = case.ground.height(found.distance, swept.tip_up)
        for row, height in zip(rows, heights, strict=True):
            row["arrow_above_ground"] = units.value(height, "length")
    if scatter is not None:
        chances = touch_chance(swept, patches, envelope, scatter)
        for row, chance in zip(rows, chances, strict=True):
            row["touch_chance"] = units.value(chance, "number")
        case.notes.extend(chance_notes(found.names, margin, chances))
    _add_targets(case, found, rows)
    upright = np.isin(edges, (EDGES.index("bottom"), EDGES.index("top")))
    case.notes.extend(close_notes(found.names, margin, np.where(upright, doubt, 0.0)))
    touched = [name for name, space in zip(found.names, margin, strict=True) if not space > 0.0]
    if touched:
        case.notes.insert(0, touched_note(touched))
    return rows


def _lengths(case: Case, row: int) -> Callable[[Any], float | None]:
    """What writes one row of an array of lengths; null where it is infinite."""

    def length(values: Any) -> float | None:
        value = float(values[row])
        return None if math.isinf(value) else case.setup.units.value(value, "length")

    return length


def _add_targets(case: Case, found: Obstacles, rows: list[dict[str, Any]]) -> None:
    """The targets for which each obstacle is clear."""
    units, loosed = case.setup.units, case.loosed
    wanted = case.asked.get("search_to", 2.0 * loosed.target)
    where = "/search_to" if "search_to" in case.asked else "/target"
    aim_off = case.asked.get("aim_off", False)
    with solving(units, lambda _: where):
        farthest = farthest_target(loosed.shot, wanted, aim_off=aim_off)
        search = clear_targets(
            loosed.shot,
            loosed.nock_lead,
            found.distance,
            found.patches,
            case.envelope,
            farthest,
            aim_off=aim_off,
        )
    case.errors.append(search.error)
    for row, clear, *ends in zip(rows, search.spans, search.nearest, search.farthest, strict=True):
        row["clear_targets"] = spans(clear, units)
        row["searched"] = span((ends[0], ends[1]), units)
