"""What /v1/overshoot replies, from what was found."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np

from arrowloft.api import replies
from arrowloft.api.archer.groups import group_of, group_reply
from arrowloft.api.overshoot.overshoot_members import (
    EYE_HEIGHT,
    GROSS_ASIDE,
    GROSS_HIGH,
    OUTLINE,
    RELEASE_ROWS,
    SHARE,
)
from arrowloft.api.setup import Setup
from arrowloft.api.tables import columns
from arrowloft.core.arrays import Array
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.overshoot.carry import Area, Carry, Target
from arrowloft.core.overshoot.guidance import SOURCE, STANDING, Quoted, least_elevations
from arrowloft.core.overshoot.landing import Landings
from arrowloft.core.overshoot.scene import Kind
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.shot import Shot


@dataclass(frozen=True, kw_only=True)
class Overshoot:
    """Everything found: the reply and the picture are two ways to tell it."""

    asked: Mapping[str, Any]
    setup: Setup
    shot: Shot
    terrain: Terrain
    aimed: Aimed
    target: Target
    kinds: tuple[Kind, ...]
    landed: Landings
    farthest: Carry
    areas: Mapping[str, Area | None]
    quoted: tuple[tuple[Quoted, float], ...]

    @property
    def eye_height(self) -> float:
        """Of the eye over the archer's ground, m."""
        return eye_height_of(self.asked)

    @property
    def mark_height(self) -> float:
        """Of the aim point over the ground below it, m."""
        ground = float(self.terrain.height(np.array([self.target.distance]))[0])
        return float(self.target.slant * np.sin(self.target.slope)) - ground

    @property
    def gross(self) -> tuple[float, float]:
        """How high and how far aside gross errors go, rad, as asked or as assumed."""
        asked = self.asked.get("gross", {})
        return asked.get("high", GROSS_HIGH), asked.get("aside", GROSS_ASIDE)

    @property
    def ways(self) -> Array:
        """Where each row lands, m; as far as the farthest carry where it was not followed."""
        landed: Array = np.where(self.landed.followed, self.landed.distance, self.farthest.distance)
        return landed

    @property
    def airspeeds(self) -> tuple[float, float]:
        """Least and greatest airspeed flown, m/s."""
        slow = [*self.landed.least_airspeed, self.farthest.airspeed_range[0]]
        fast = [*self.landed.greatest_airspeed, self.farthest.airspeed_range[1]]
        return float(np.nanmin(slow)), float(np.nanmax(fast))


def eye_height_of(asked: Mapping[str, Any]) -> float:
    """Of the eye over the archer's ground, m, as asked or as assumed."""
    return float(asked.get("terrain", {}).get("eye_height", EYE_HEIGHT))


def _target_reply(found: Overshoot) -> dict[str, float]:
    aimed, target, value = found.aimed, found.target, found.setup.units.value
    return {
        "distance": value(target.distance, "distance"),
        "height": value(found.mark_height, "distance"),
        "launch_angle": value(aimed.launch_angle[0], "angle"),
        "elevation": value(target.elevation, "angle"),
        "time": value(aimed.time[0], "time"),
    }


_OF_CARRY = (
    ("distance", "distance"),
    ("upper", "distance"),
    ("elevation", "angle"),
    ("right", "distance"),
    ("time", "time"),
    ("speed", "speed"),
    ("descent_angle", "angle"),
    ("apex_height", "distance"),
    ("apex_distance", "distance"),
)


def _farthest_reply(found: Overshoot) -> dict[str, float]:
    carry, value = found.farthest, found.setup.units.value
    own = {name: value(getattr(carry, name), dimension) for name, dimension in _OF_CARRY}
    return own | {"high": value(carry.elevation - found.target.elevation, "angle")}


def _release_rows(found: Overshoot) -> list[dict[str, Any]]:
    landed = found.landed
    own = {
        "high": landed.elevation - found.target.elevation,
        "height": landed.height + found.eye_height,
    }
    table = columns(SimpleNamespace(**(vars(landed) | own)), RELEASE_ROWS)
    names = [column.name for column in table]
    rows = found.setup.units.rows(table)
    return [
        {"kind": kind} | dict(zip(names, row, strict=True))
        for kind, row in zip(found.kinds, rows, strict=True)
    ]


def _area_rows(found: Overshoot) -> list[dict[str, Any]]:
    units, rows = found.setup.units, []
    for kind, area in found.areas.items():
        if area is None:
            continue
        own = {"kind": kind, "size": units.value(area.size, "ground_area")}
        for name in ("nearest", "farthest", "leftmost", "rightmost"):
            own[name] = units.value(getattr(area, name), "distance")
        own["behind_target"] = units.value(area.farthest - found.target.distance, "distance")
        own["outline"] = units.json_rows(columns(area, OUTLINE))
        rows.append(own)
    return rows


def _guidance_rows(found: Overshoot) -> list[dict[str, Any]]:
    value, mark = found.setup.units.value, found.target.elevation
    ways = np.array([way for _, way in found.quoted])
    least = least_elevations(found.shot, found.terrain, mark, found.farthest.elevation, ways)
    return [
        {
            "code": one.code,
            "wording": one.wording,
            "source": SOURCE,
            "standing": STANDING,
            "distance": value(way, "distance"),
            **{
                f"{kind}_inside": None if area is None else bool(area.farthest <= way)
                for kind, area in found.areas.items()
            },
            "releases_inside": bool((found.ways <= way).all()),
            "farthest_beyond": value(found.farthest.distance - way, "distance"),
            "least_high": None if np.isnan(elevation) else value(elevation - mark, "angle"),
        }
        for (one, way), elevation in zip(found.quoted, least, strict=True)
    ]


def _taken(found: Overshoot) -> dict[str, Any]:
    value, target, (high, aside) = found.setup.units.value, found.target, found.gross
    own: dict[str, Any] = {
        "eye_height": value(found.eye_height, "length"),
        "gross": {"high": value(high, "angle"), "aside": value(aside, "angle")},
        "butt": None,
    }
    if "butt" in found.asked:
        own["butt"] = {
            "width": value(2.0 * target.half_width, "length"),
            "height": value(2.0 * target.half_height, "length"),
        }
    if "group" in found.asked:
        own["share"] = value(found.asked.get("share", SHARE), "number")
    return own


def own_members(found: Overshoot) -> dict[str, Any]:
    """The reply's own members."""
    own: dict[str, Any] = {
        "farthest": _farthest_reply(found),
        "target": _target_reply(found),
        "releases": _release_rows(found),
        "areas": _area_rows(found),
        "guidance": _guidance_rows(found),
        "taken": _taken(found),
    }
    if "group" in found.asked:
        own["group"] = group_reply(group_of(found.asked["group"]), found.setup.units)
    error = float(np.nanmax([*found.landed.error, found.farthest.error]))
    own["solution"] = replies.solution(found.setup.units, found.airspeeds, position=error)
    return own
