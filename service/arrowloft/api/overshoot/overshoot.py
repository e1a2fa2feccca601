"""POST /v1/overshoot: where arrows land that are loosed too high or miss the target."""

from collections.abc import Mapping
from typing import Any, cast

import numpy as np
from flask import Response, request
from marshmallow import ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.archer.groups import group_of
from arrowloft.api.blame import solving
from arrowloft.api.overshoot import overshoot_notes
from arrowloft.api.overshoot.overshoot_members import (
    GROSS_ASIDE,
    GROSS_HIGH,
    RELEASES,
    SHARE,
    members,
    reply,
)
from arrowloft.api.overshoot.overshoot_reply import Overshoot, eye_height_of, own_members
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.replies import JSON
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.overshoot.carry import (
    Area,
    Target,
    carry_at,
    farthest_carry,
    gross_area,
    group_area,
)
from arrowloft.core.overshoot.guidance import fitting
from arrowloft.core.overshoot.scene import Kind, Loose, Scene, arc
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.shot import Shot

_UPRIGHT = np.radians(89.0)
"""Steepest elevation of a release: beyond it the arrow would come back over the archer."""

_SHORT = 1.0
"""Way before the target, m, on which an arrow that falls short still counts as arriving."""


def _terrain(asked: Mapping[str, Any]) -> Terrain:
    corners = asked.get("terrain", {}).get("heights", ())
    heights = tuple((corner["distance"], corner["height"]) for corner in corners)
    return Terrain.under(eye_height_of(asked), heights)


def _target(asked: Mapping[str, Any], aimed: Aimed) -> Target:
    slope, butt = asked.get("slope", 0.0), asked.get("butt", {})
    return Target(
        elevation=slope + float(aimed.launch_angle[0]),
        distance=asked["target"] * np.cos(slope),
        slant=asked["target"],
        slope=slope,
        half_width=0.5 * butt.get("width", 0.0),
        half_height=0.5 * butt.get("height", 0.0),
    )


def _check_ground(asked: Mapping[str, Any], terrain: Terrain) -> None:
    """The aim point stands over the ground."""
    slope, slant = asked.get("slope", 0.0), asked["target"]
    ground = float(terrain.height(np.array([slant * np.cos(slope)]))[0])
    if slant * np.sin(slope) > ground:
        return
    fault = "The aim point lies below the ground: correct the slope, the heights or the eye's."
    if "terrain" not in asked:
        fault = (
            "On level ground the aim point would lie below it: give `terrain`, or correct the "
            "slope."
        )
        raise ValidationError({"slope": [fault]})
    raise ValidationError({"terrain": [fault]})


def _elevations(asked: Mapping[str, Any], target: Target) -> tuple[tuple[Kind, ...], Array]:
    """Kind and elevation of each row."""
    releases = asked.get("releases", RELEASES)
    kinds: list[Kind] = ["mark", *["release"] * len(releases)]  # type: ignore[list-item]
    elevations = [target.elevation, *(target.elevation + high for high in releases)]
    steep = {
        index: ["Above the mark this is all but upright: give a smaller angle."]
        for index, elevation in enumerate(elevations[1:])
        if elevation > _UPRIGHT
    }
    if steep:
        raise ValidationError({"releases": steep})
    if "draw_angle" in asked:
        kinds.append("draw")
        elevations.append(target.slope + asked["draw_angle"])
        if abs(elevations[-1]) > _UPRIGHT:
            fault = "With this slope the draw is all but upright: give a smaller angle."
            raise ValidationError({"draw_angle": [fault]})
    return tuple(kinds), np.array(elevations)


def _areas(
    asked: Mapping[str, Any], shot: Shot, target: Target, terrain: Terrain, farthest: float
) -> dict[str, Area | None]:
    """The areas by kind; farthest: elevation of the farthest carry, rad."""
    gross = asked.get("gross", {})
    found: dict[str, Area | None] = {"group": None}
    if "group" in asked:
        group = group_of(asked["group"])
        found["group"] = group_area(
            shot,
            target,
            terrain,
            group.angular_vertical,
            group.angular_sideways,
            asked.get("share", SHARE),
            degrees=group.degrees,
            farthest=farthest,
        )
    high, aside = gross.get("high", GROSS_HIGH), gross.get("aside", GROSS_ASIDE)
    found["gross"] = gross_area(shot, target, terrain, high, aside, farthest=farthest)
    return found


def _found(asked: Mapping[str, Any], setup: Setup) -> Overshoot:
    """Fly everything. Raises BeyondReach, TooNear, Unsolved, ValidationError."""
    shot, terrain = setup.shot(asked), _terrain(asked)
    _check_ground(asked, terrain)
    aimed = aim(shot, np.array([asked["target"]]))
    require_reached(shot, aimed)
    target = _target(asked, aimed)
    kinds, elevations = _elevations(asked, target)
    landed = carry_at(shot, elevations, terrain)
    if landed.distance[0] < target.distance - _SHORT:
        fault = (
            "With this ground the arrow aimed at the target strikes the ground at "
            f"{setup.units.roughly(landed.distance[0], 'distance')} already: correct the heights."
        )
        raise ValidationError({"terrain": [fault]})
    farthest = farthest_carry(
        shot,
        terrain,
        speed_uncertainty=setup.speed_uncertainty,
        drag_uncertainty=setup.drag_uncertainty,
    )
    return Overshoot(
        asked=asked,
        setup=setup,
        shot=shot,
        terrain=terrain,
        aimed=aimed,
        target=target,
        kinds=kinds,
        landed=landed,
        farthest=farthest,
        areas=_areas(asked, shot, target, terrain, farthest.elevation),
        quoted=tuple(
            (one, one.distance(target.distance))
            for one in fitting(target.distance, asked.get("style"))
        ),
    )


def _notes(found: Overshoot) -> list[Any]:
    asked, units, areas = found.asked, found.setup.units, found.areas
    foremost, *others = overshoot_notes.CAUTIONS
    reaches = overshoot_notes.reached(found.kinds, found.ways, areas)
    notes = [foremost, *overshoot_notes.beyond(found.quoted, reaches, units), *others]
    notes += overshoot_notes.assumed(asked, units)
    if "butt" in asked:
        lower = found.mark_height - found.target.half_height * np.cos(found.target.slope)
        notes += overshoot_notes.butt_gap(lower, units)
    notes += overshoot_notes.stopped(asked, areas["group"], areas["gross"])
    notes += overshoot_notes.unfollowed(bool(np.isnan(found.landed.distance).any()))
    notes += overshoot_notes.doubt(found.farthest, units)
    if "group" in asked:
        notes += overshoot_notes.group_rests_on(group_of(asked["group"]))
    return notes + list(found.setup.flown_notes(found.airspeeds))


def _scene(found: Overshoot) -> Scene:
    """What the picture shows; arrows that could not be followed are not in it."""
    mark, carry, (high, aside) = found.target.elevation, found.farthest, found.gross
    loosed = [
        Loose(kind=kind, elevation=float(elevation), high=float(elevation - mark), time=float(time))
        for kind, elevation, time in zip(
            found.kinds, found.landed.elevation, found.landed.time, strict=True
        )
        if np.isfinite(time)
    ]
    loosed.append(
        Loose(
            kind="farthest",
            elevation=carry.elevation,
            high=carry.elevation - mark,
            time=carry.time,
        )
    )
    return Scene(
        eye_height=found.eye_height,
        terrain=found.terrain,
        target=found.target,
        arcs=tuple(arc(found.shot, loose) for loose in loosed),
        farthest=carry,
        group=found.areas["group"],
        gross=found.areas["gross"],
        quoted=found.quoted,
        gross_high=high,
        gross_aside=aside,
        wind_speed=cast(float, found.shot.wind_speed),
        wind_from=cast(float, found.shot.wind_from),
        arrow_mass=float(found.setup.arrow.mass),
        launch_speed=found.setup.speed,
        cautions=overshoot_notes.pictured([*_notes(found), *found.setup.notes]),
    )


def resource(edge: Edge) -> Resource:
    """The resource; it draws where the edge has been given what draws."""
    schema = request_schema("OvershootRequest", edge.models, members(), sight=False)
    drawn = edge.pictures.overshoot

    def view() -> Response:
        form = replies.negotiate(request, JSON, *forms_of(drawn))
        asked = schema.read(reading.read_object(request, edge.limits))
        if "share" in asked and "group" not in asked:
            raise ValidationError({"share": ["The share is one of a group: add `group`."]})
        setup = resolve(asked, edge.registry)
        with solving(setup.units, lambda _: "/target"):
            found = _found(asked, setup)
            if form in PICTURED:
                return picture_reply(drawn, _scene(found), setup.units.chosen, form)
            own = own_members(found)
        return replies.json_reply(setup.reply(own, _notes(found)), forms=2)

    return Resource(
        path="/v1/overshoot",
        name="overshoot",
        summary="Where arrows land that miss the target",
        description="The farthest an arrow can carry, where it lands when it is loosed too high, "
        "and the ground behind the target on which a group and gross errors land, held "
        "against quoted overshoot distances. Gross errors are arrows loosed too high, too low or "
        "aside, as far as they land behind the target. As image/svg+xml or "
        "application/pdf, a picture of it to scale. A `sight` may stand in the request and plays "
        "no part.",
        view=view,
        request=schema,
        reply=reply(),
        forms=PICTURED,
        problems=FLIGHT_PROBLEMS,
    )
