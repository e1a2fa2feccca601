"""POST /v1/hit-probability: how likely an arrow hits, and how far is sensible."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.archer.groups import group_of, group_reply
from arrowloft.api.blame import solving
from arrowloft.api.chances.hit_members import NEAREST, UP_TO, errors_of, hit_members, target_of
from arrowloft.api.chances.hit_notes import hit_notes, pictured
from arrowloft.api.chances.hit_reply import HIT_REPLY
from arrowloft.api.distances import pointer
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.replies import CSV, JSON, ReplyUnits, significant
from arrowloft.api.reply_schemas import reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.core.chances.hit_probability import Aiming, Archer, HitProbability, hit_probability
from arrowloft.core.chances.hit_scene import Scene, curve_over
from arrowloft.core.chances.sensible_distance import Sensible, sensible_distance
from arrowloft.core.chances.zones import Face, Zone

_CELLS = 20
"""Cells of a grid that one distance counts for: it takes up to 71 flights and their statistics."""


def resource(edge: Edge) -> Resource:
    """The resource."""
    most = min(edge.limits.distances, edge.limits.cells // _CELLS)
    schema = request_schema("HitProbabilityRequest", edge.models, hit_members(most), sight=False)
    drawn = edge.pictures.hit_probability

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        setup = resolve(asked, edge.registry)
        aiming = _aiming(asked, setup)
        target = target_of(asked, float(setup.arrow.shaft_diameter))
        distances = np.array(asked["distances"])
        with solving(setup.units, lambda lane: _pointer(body, lane, distances.size)):
            found = hit_probability(aiming, target, distances)
        farthest = None
        if "farthest" in asked:
            with solving(setup.units, lambda _: "/farthest/nearest"):
                farthest = _farthest(aiming, target, asked["farthest"])
        group = aiming.archer.group
        notes = hit_notes(asked, group, found, farthest)
        if form in PICTURED:
            with solving(setup.units, lambda _: "/distances"):
                scene = _scene(asked, aiming, target, farthest, pictured(notes))
            return picture_reply(drawn, scene, setup.units.chosen, form)
        flown = [found]
        if farthest is not None:
            with solving(setup.units, lambda _: "/farthest/nearest"):
                flown.append(_there(aiming, target, farthest))
        notes += setup.flown_notes(_airspeeds(flown))
        if form == CSV:
            told = setup.reply({}, notes)["notes"]  # those that every reply has as well
            return _csv(found, [note["code"] for note in told], setup.units)
        own: dict[str, Any] = {"rows": _rows(found, setup.units)}
        if farthest is not None:
            wanted = asked["farthest"]["probability"]
            own["farthest"] = _farthest_reply(farthest, wanted, setup.units)
        own["group"] = group_reply(group, setup.units) | {
            "few_arrows_factor": significant(group.unbiased)
        }
        own["solution"] = _solution(flown, setup.units)
        return replies.json_reply(setup.reply(own, notes), forms=2)

    return Resource(
        path="/v1/hit-probability",
        name="hit_probability",
        summary="How likely a hit is, and how far is sensible",
        description="Adds the archer's group, grown to each distance, to the errors of a shot: a "
        "wrong guess of distance or wind, a rolled bow, uneven speed, marks not quite known, a "
        "target that moves while the arrow flies. Gives the probability of a hit in a zone, or "
        "the mean score on a face, what each cause has to do with it, and the farthest distance "
        "at which a wanted probability still holds. As image/svg+xml or application/pdf, a picture "
        "of the chances and of what makes the scatter, over distance. A `sight` may stand in the "
        "request and plays no part.",
        view=view,
        request=schema,
        reply=reply_schema("HitProbabilityReply", HIT_REPLY),
        forms=(CSV, *PICTURED),
        problems=FLIGHT_PROBLEMS,
    )


def _pointer(body: dict[str, Any], lane: int, distances: int) -> str:
    """The distance at fault; the group's own is flown last where it holds errors of a shot."""
    return pointer(body, lane) if lane < distances else "/group/distance"


def _aiming(asked: Mapping[str, Any], setup: Setup) -> Aiming:
    """What is loosed, by whom, with what errors."""
    offset = asked.get("aimed_off", {})
    return Aiming(
        shot=setup.shot(asked),
        archer=Archer(
            group=group_of(asked["group"]),
            growth=asked.get("growth", 1.0),
            within=tuple(asked.get("in_group", ("speed",))),
        ),
        errors=errors_of(asked),
        offset=(offset.get("up", 0.0), offset.get("right", 0.0)),
        wind_allowed=asked.get("wind_allowed_for", True),
    )


def _farthest(aiming: Aiming, target: Zone | Face, asked: Mapping[str, float]) -> Sensible:
    near, far = asked.get("nearest", NEAREST), asked.get("up_to", UP_TO)
    return sensible_distance(aiming, target, asked["probability"], near, far)


def _there(aiming: Aiming, target: Zone | Face, farthest: Sensible) -> HitProbability:
    """The chances at the farthest distance: what is said of the flights holds for it too."""
    end = farthest.ends_at if math.isnan(farthest.distance) else farthest.distance
    return hit_probability(aiming, target, np.array([end]))


def _scene(
    asked: Mapping[str, Any],
    aiming: Aiming,
    target: Zone | Face,
    farthest: Sensible | None,
    cautions: tuple[str, ...],
) -> Scene:
    """What the picture shows."""
    distances = np.unique(asked["distances"])
    return Scene(
        asked=distances,
        curve=curve_over(aiming, target, distances, farthest),
        aiming=aiming,
        target=target,
        wanted=asked["farthest"]["probability"] if farthest is not None else None,
        farthest=farthest,
        cautions=cautions,
    )


def _airspeeds(flown: Sequence[HitProbability]) -> tuple[float, float]:
    """Least and greatest airspeed of all flights, m/s."""
    least, greatest = zip(*(found.airspeed_range for found in flown), strict=True)
    return min(least), max(greatest)


def _solution(flown: Sequence[HitProbability], units: ReplyUnits) -> dict[str, float]:
    """What HitSolution documents."""
    errors = [float(np.nanmax(found.error, initial=0.0)) for found in flown]
    return {
        **replies.solution(
            units,
            _airspeeds(flown),
            angle=max(found.aimed_error for found in flown),
            position=max(found.position_error for found in flown),
        ),
        "probability_error": significant(max(errors), 3),
    }


def _farthest_reply(found: Sensible, wanted: float, units: ReplyUnits) -> dict[str, Any]:
    return {
        "probability": wanted,
        "distance": _maybe(found.distance, "distance", units),
        "surely": _maybe(found.surely, "distance", units),
        "looked_up_to": units.value(found.ends_at, "distance"),
        "beyond": found.whole,
    }


_FIGURES: tuple[tuple[str, str, str], ...] = (
    ("probability", "probability", "number"),
    ("error", "error", "number"),
    ("low", "low", "number"),
    ("high", "high", "number"),
    ("score", "score", "number"),
    ("score_error", "score_error", "number"),
    ("score_sd", "score_sd", "number"),
    ("inner_ten", "inner", "number"),
    ("up", "up", "length"),
    ("right", "right", "length"),
    ("sd_up", "sd_up", "length"),
    ("sd_right", "sd_right", "length"),
)
"""Name in the reply, attribute of the core's result, dimension."""


def _rows(found: HitProbability, units: ReplyUnits) -> list[dict[str, Any]]:
    """One object a distance; what is not known is None."""
    rows = []
    for at, distance in enumerate(found.distance):
        row: dict[str, Any] = {"distance": units.value(distance, "distance")}
        for name, attribute, dimension in _FIGURES:
            values = getattr(found, attribute)
            if values is not None:
                row[name] = _maybe(values[at], dimension, units)
        row["time"] = units.value(found.time[at], "time")
        row["causes"] = [
            {
                "cause": name,
                "share": units.value(found.share[of, at], "number"),
                "gain": units.value(found.gain[of, at], "number"),
            }
            for of, name in enumerate(found.causes)
            if found.known[at]
        ]
        rows.append(row)
    return rows


def _maybe(si: float, dimension: str, units: ReplyUnits) -> float | None:
    return None if math.isnan(si) else units.value(si, dimension)


def _csv(found: HitProbability, codes: Sequence[str], units: ReplyUnits) -> Response:
    """One line a distance; then the shares of the causes, empty where not known, and the notes.

    codes: of the notes, which a table must not lose: every line has them in its last column.
    """
    rows = _rows(found, units)
    dimensions = {name: dimension for name, _, dimension in _FIGURES}
    dimensions |= {"distance": "distance", "time": "time"}
    heads = []
    for name in list(rows[0])[:-1]:
        unit = units.chosen.get(dimensions[name])
        heads.append(f"{name} ({unit})" if unit else name)
    nothing = [None] * len(found.causes)
    told = " ".join(codes)
    lines = [
        [*list(row.values())[:-1], *([cause["share"] for cause in row["causes"]] or nothing), told]
        for row in rows
    ]
    shares = [f"share of {name}" for name in found.causes]
    return replies.csv_reply([*heads, *shares, "notes"], lines)
