"""What /v1/rigid-flight replies: schemas for the document, and the bodies they describe."""

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np

from arrowloft.api.replies import Column, ReplyUnits, solution, sources_reply
from arrowloft.api.reply_schemas import (
    SolutionReply,
    SourceReply,
    flag,
    many,
    nullable,
    number,
    part,
    quantity,
)
from arrowloft.api.schemas import Strict
from arrowloft.api.tables import Head, columns, row_schema
from arrowloft.core.rigid.aerodynamics import Aerodynamics
from arrowloft.core.rigid.body import Body
from arrowloft.core.rigid.linear import Swing
from arrowloft.core.rigid.rigid_flight import POSITION_ERROR, RigidFlight
from arrowloft.plugin import Source

_MARGIN_ANGLES = np.radians([0.0, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 45.0])

SOURCES = (
    Source(
        "Barrowman, The Practical Calculation of the Aerodynamic Characteristics of Slender "
        "Finned Vehicles, 1967: normal force of vanes with the shaft between them, of the nose, "
        "where they act"
    ),
    Source(
        "Niskanen, OpenRocket technical documentation, 2013: the same, the factors of five and "
        "six vanes, and Galejs's cross flow of the shaft, coefficient 1.1 (there after Hoerner)"
    ),
    Source(
        "Pitts, Nielsen, Kaattari, NACA Report 1307, 1957: what vanes carry over onto the shaft, "
        "so that its factor counts twice",
        "from memory",
    ),
    Source(
        "Murphy, Free Flight Motion of Symmetric Missiles, 1963: linear theory of the swing, with "
        "the slope of the lift as that of the normal force less the drag coefficient",
        "from memory",
    ),
    Source(
        "Damping by each part's own angle in the turning arrow; the drag model's area as that of "
        "the force along the shaft, beside the normal force; spin by strips of the vanes",
        "derived",
    ),
)

POINTS = (
    Head("distance", "distance", "Of the balance point, along the line of sight."),
    Head("height", "length", "Above the line of sight."),
    Head("right", "length", "Right of the line of sight."),
    Head("time", "time", "Since launch."),
    Head("speed", "speed", "Speed."),
    Head("pitch", "angle", "Shaft above its motion through the air, tip up positive."),
    Head("yaw", "angle", "Shaft right of its motion through the air, tip right positive."),
    Head("angle", "angle", "Whole angle between the shaft and its motion through the air."),
    Head("spin", "angle_rate", "About the shaft, clockwise as the archer sees it."),
)

_SHIFTS = (
    Head("distance", "distance", "Distance of the aim point."),
    Head("launch_angle", "angle", "That brings a point mass to the aim point, and is used."),
    Head("shift_up", "length", "Impact above that of the point mass."),
    Head("shift_right", "length", "Impact to the right of that of the point mass."),
    Head("release_up", "length", "Impact above that of the same rigid arrow, cleanly released."),
    Head("release_right", "length", "The same to the right."),
    Head("time_difference", "time", "Time of flight, rigid less point mass."),
    Head("speed_difference", "speed", "Speed at arrival, rigid less point mass."),
    Head("angle", "angle", "Shaft to its motion through the air at arrival."),
)

_of_group = partial(Head, optional=True)
_CAUSES = "pitch, yaw, pitch rate and yaw rate, in this order"

_GROUP = (
    _of_group("group_up", "length", "Standard deviation of impacts in height; with `scatter`."),
    _of_group("group_right", "length", "Standard deviation to the side; with `scatter`."),
    _of_group(
        "middle_up",
        "length",
        "The group's middle above the impact of the release asked for; with `scatter`.",
    ),
    _of_group("middle_right", "length", "The same to the right; with `scatter`."),
    _of_group(
        "up_by",
        "length",
        f"Of the height, owed to each alone: {_CAUSES}; with `scatter`.",
        listed=True,
    ),
    _of_group("right_by", "length", f"The same to the side: {_CAUSES}.", listed=True),
    _of_group(
        "bend",
        "number",
        "How far impacts at twice the scatter lie from a straight line, as a share of how far "
        "they move: the larger, the less a group is normal; with `scatter`.",
    ),
)


class RigidBodyReply(Strict):
    """The body as resolved."""

    transverse_inertia = quantity("inertia", "Moment of inertia across the shaft.")
    axial_inertia = quantity("inertia", "Moment of inertia about the shaft.")
    estimated = flag("Whether mass, length and balance point stood for the parts.")
    point_mass = nullable(
        quantity("mass", "Estimated mass of point and insert; null where parts were given.")
    )
    nock_mass = nullable(quantity("mass", "Estimated mass of nock and vanes; null as above."))


class StaticMarginReply(Strict):
    """How far the air pushes behind the balance point, at one angle."""

    angle = quantity("angle", "Shaft to its motion through the air.")
    static_margin = quantity("length", "Centre of pressure behind the balance point.")
    share = number("The same as a share of the arrow's length.")
    normal_force_coefficient = number("Of the normal force, on the shaft's cross-section.")


class AerodynamicsReply(Strict):
    """What the air does to the arrow beside its drag."""

    vane_slope = number("Slope of the vanes' normal force, 1/rad, on the shaft's cross-section.")
    nose_slope = number("The same of the nose.")
    margins = many(StaticMarginReply(), "Static margin at several angles, the first 0.")
    cross_flow = number("Coefficient of the shaft's cross flow, on its side area, as used.")


class SwingReply(Strict):
    """A damped oscillation of the arrow."""

    frequency = number("Oscillations a second at the launch speed, Hz.")
    damping_ratio = number("Share of the critical damping.")
    length = quantity("distance", "Way through the air of one oscillation.")
    to_third = nullable(
        quantity("distance", "Way over which it shrinks to a third; null where it does not.")
    )
    to_e_fold = nullable(
        quantity("distance", "Way over which it shrinks to 1/e; null where it does not.")
    )


class OscillationReply(Strict):
    """The oscillation, foretold and flown."""

    linear = nullable(
        part(
            SwingReply(),
            "By linear theory at the launch speed: the smallest angles, without the shaft's cross "
            "flow; null where it foretells no swing.",
        )
    )
    flown = nullable(
        part(
            SwingReply(),
            "Read off the angles flown to the target, an average weighted by their size; null "
            "where the flight is too short, or too calm, to show one.",
        )
    )


class SettlingReply(Strict):
    """How the angle dies down on the way to the target: the same, whatever lies beyond it."""

    greatest_angle = quantity("angle", "Greatest angle of the shaft to its motion.")
    at = quantity("distance", "Where that is.")
    third = nullable(
        quantity(
            "distance",
            "From here on below a third of it, judged by a flight of a whole swing past the "
            "target, 100 m at most; null: not before the target, or it cannot be said.",
        )
    )
    e_fold = nullable(quantity("distance", "From here on below 1/e of it; null as above."))
    settled_angle = quantity("angle", "Angle below which the arrow counts as settled.")
    settled = nullable(quantity("distance", "From here on below that; null as above."))


class SpinReply(Strict):
    """Spin about the shaft, clockwise as the archer sees it."""

    at_target = quantity("angle_rate", "At the target.")
    terminal = quantity("angle_rate", "That the vanes would hold at the launch speed.")


REPLY: dict[str, Any] = {
    "rows": many(
        row_schema("RigidRow", _SHIFTS + _GROUP),
        "The target first, then each further distance in the order asked for.",
    ),
    "oscillation": part(OscillationReply(), "The oscillation, foretold and flown."),
    "settling": part(SettlingReply(), "How the angle dies down."),
    "spin": part(SpinReply(), "Spin about the shaft."),
    "body": part(RigidBodyReply(), "The body as resolved."),
    "aerodynamics": part(AerodynamicsReply(), "Normal force and static margin."),
    "points": many(row_schema("RigidPoint", POINTS), "Points of the path to the target."),
    "sources": many(SourceReply(), "Where the rigid arrow's equations come from."),
    "solution": part(SolutionReply(), "How the flights were solved."),
}


def own_members(
    found: RigidFlight, points: list[Column], threshold: float, units: ReplyUnits
) -> dict[str, Any]:
    """The reply's own members beside `body` and `aerodynamics`.

    threshold: angle below which the arrow counts as settled, rad.
    """
    rows = columns(found.shifts, _SHIFTS)
    if found.scatter is not None:
        rows += columns(found.scatter, _GROUP)
    speed = float(found.history.speed[0])
    return {
        "rows": units.json_rows(rows),
        "oscillation": {
            "linear": _swing(found.linear, speed, units),
            "flown": _swing(found.flown, speed, units),
        },
        "settling": _settling(found, threshold, units),
        "spin": {
            "at_target": units.value(found.history.spin[-1], "angle_rate"),
            "terminal": units.value(found.terminal_spin, "angle_rate"),
        },
        "points": units.json_rows(points),
        "sources": sources_reply(SOURCES),
        "solution": solution(
            units, found.airspeed_range, angle=found.aim_error, position=POSITION_ERROR
        ),
    }


def body_member(body: Body, ends: tuple[float, float] | None, units: ReplyUnits) -> dict[str, Any]:
    """What RigidBodyReply documents. ends: estimated masses of point and nock, kg."""
    point, nock = (None, None) if ends is None else ends
    return {
        "transverse_inertia": units.value(body.transverse_inertia, "inertia"),
        "axial_inertia": units.value(body.axial_inertia, "inertia"),
        "estimated": ends is not None,
        "point_mass": None if point is None else units.value(point, "mass"),
        "nock_mass": None if nock is None else units.value(nock, "mass"),
    }


def aerodynamics_member(
    air: Aerodynamics, length: float, cross_flow: float, units: ReplyUnits
) -> dict[str, Any]:
    """What AerodynamicsReply documents. length: of the arrow, m.  cross_flow: coefficient."""
    margins, forces = air.static_margin(_MARGIN_ANGLES), air.normal_force(_MARGIN_ANGLES)
    vanes, nose = air.stations.slope
    return {
        "vane_slope": units.value(vanes, "number"),
        "nose_slope": units.value(nose, "number"),
        "margins": [
            {
                "angle": units.value(angle, "angle"),
                "static_margin": units.value(margin, "length"),
                "share": units.value(margin / length, "number"),
                "normal_force_coefficient": units.value(force, "number"),
            }
            for angle, margin, force in zip(_MARGIN_ANGLES, margins, forces, strict=True)
        ],
        "cross_flow": units.value(cross_flow, "number"),
    }


def _swing(
    found: Swing | None, speed: float, units: ReplyUnits
) -> Mapping[str, float | None] | None:
    """What SwingReply documents."""
    if found is None:
        return None
    third, e_fold = found.distance_to(1.0 / 3.0), found.distance_to(float(np.exp(-1.0)))
    return {
        "frequency": units.value(found.frequency(speed), "number"),
        "damping_ratio": units.value(found.damping_ratio, "number"),
        "length": units.value(found.length, "distance"),
        "to_third": units.value(third, "distance") if np.isfinite(third) else None,
        "to_e_fold": units.value(e_fold, "distance") if np.isfinite(e_fold) else None,
    }


def _settling(found: RigidFlight, threshold: float, units: ReplyUnits) -> dict[str, Any]:
    """What SettlingReply documents."""
    settling = found.settling

    def at(distance: float | None) -> float | None:
        return None if distance is None else units.value(distance, "distance")

    return {
        "greatest_angle": units.value(settling.greatest, "angle"),
        "at": at(settling.at_greatest),
        "third": at(settling.third),
        "e_fold": at(settling.e_fold),
        "settled_angle": units.value(threshold, "angle"),
        "settled": at(settling.threshold),
    }
