"""What to tell with a rigid flight: how rough it is, what it leaves out, what was assumed."""

import math

from arrowloft.api.replies import ReplyUnits
from arrowloft.core.rigid.aerodynamics import Vanes
from arrowloft.core.rigid.body import Parts
from arrowloft.core.rigid.release_scatter import BENT
from arrowloft.core.rigid.rigid_flight import RigidFlight
from arrowloft.plugin import Note

_WIDE = math.radians(15)
_HEAVY_NOCK, _LIGHT_SHAFT = 0.1, 0.4
"""Shares of an arrow's mass beyond which its nock end and its shaft are unlike any."""

DERIVED = Note(
    "rigid-derived",
    "The rigid arrow's figures are derived from slender-body formulas, not measured: frequency, "
    "damping and what follows from them are good to about 30 %. Read them for size and for "
    "comparison, not for marks.",
)
LEFT_OUT = Note(
    "rigid-left-out",
    "Left out: the shaft's flexing, faster than the swing (about 80 to 90 Hz, published), the side "
    "force of a spinning shaft, the turning moment of the drag, the wake of the shaft on the vanes "
    "and whatever touches the arrow as it passes the bow.",
)
LAYER = Note(
    "rigid-boundary-layer",
    "Near a Reynolds number of 20,000 on the shaft's diameter the angle alone may decide whether "
    "the boundary layer is laminar or turbulent, and with it whether Cd is 1.3 or 2.6 (Miyazaki, "
    "KAKEN 18K03943, 2020, published): that is not in the rise of the drag computed here.",
)
_BENDS = Note(
    "rigid-path-bends",
    "An arrow that leaves the string without turning swings a little all the same, because its "
    "path begins to bend down under it, and then flies a little nose-high along the bend. That "
    "part of the shift is the same for every arrow and is in the sight marks; release_up and "
    "release_right leave it out.",
)
_ESTIMATED = Note(
    "rigid-inertia-estimated",
    "The moment of inertia is that of a uniform shaft with a point and a nock of such mass that "
    "the arrow balances as given; a gram more at both ends adds about a sixth. Give body.parts, or "
    "at least body.point_mass.",
)
_FROM_FORCE = Note(
    "rigid-drag-rise",
    "The drag model's area is taken as that of the force along the shaft, at the angle it is "
    "handed; the normal force's part along the air's motion is added to it.",
)
_CROSS_FLOW = Note(
    "rigid-cross-flow",
    "The coefficient of the shaft's cross flow is the largest uncertainty here: it decides what a "
    "swing of more than a degree does. Compare body.cross_flow 0, as in linear theory, with 1.1.",
)
_OFFSET = Note(
    "rigid-offset-drag",
    "What the vanes' offset costs in drag is not added: the drag model or its coefficient should "
    "hold it.",
)
_TURNED = Note(
    "rigid-wide-angle",
    "The arrow meets the air at more than 15 deg on its way: the formulas are made for small "
    "angles and only roughly right there.",
)


def rigid_notes(
    found: RigidFlight, vanes: Vanes, parts: Parts | None, windy: bool, units: ReplyUnits
) -> list[Note]:
    """The notes of one rigid flight, the worst foremost.

    parts: nock end, shaft and point as estimated; None where the caller gave them.
    windy: whether a wind blows.
    """
    notes = [DERIVED]
    if found.settling.greatest > _WIDE:
        notes.append(_TURNED)
    notes += _bend(found, units)
    if parts is not None:
        notes += _unlikely(parts, units)
    if windy:
        notes.append(_wind(found, units))
    notes += [_CROSS_FLOW, LEFT_OUT, LAYER, _BENDS]
    if parts is not None:
        notes.append(_ESTIMATED)
    notes.append(_FROM_FORCE)
    if vanes.offset != 0.0:
        notes.append(_OFFSET)
    return notes


def _unlikely(parts: Parts, units: ReplyUnits) -> list[Note]:
    """A note where an arrow that balances as given would hardly be built."""
    nock, shaft, point = (float(mass) for mass in parts.mass)
    whole = nock + shaft + point
    if nock <= _HEAVY_NOCK * whole and shaft >= _LIGHT_SHAFT * whole:
        return []
    return [
        Note(
            "rigid-unlikely-masses",
            f"To balance as given, nock and vanes would weigh {units.roughly(nock, 'mass')} and "
            f"the shaft {units.roughly(shaft, 'mass')}, which is unlikely: check body.point_mass "
            "and arrow.balance_point, or give body.parts.",
        )
    ]


def _wind(found: RigidFlight, units: ReplyUnits) -> Note:
    shifts = found.shifts
    aside = float(shifts.shift_right[0] - shifts.release_right[0])
    size, way = units.roughly(abs(aside), "length"), "right" if aside > 0.0 else "left"
    return Note(
        "rigid-wind",
        "While the arrow turns into the wind after launch, the air pushes it aside, which moves "
        f"its impact from where a point mass drifts to: by {size} to the {way} at the target, for "
        "a clean release. That part changes with the wind and is in no mark.",
    )


def _bend(found: RigidFlight, units: ReplyUnits) -> list[Note]:
    if found.scatter is None or not (found.scatter.bend > BENT).any():
        return []
    worst = int(found.scatter.bend.argmax())
    where = units.roughly(found.shifts.distance[worst], "distance")
    share = 100.0 * float(found.scatter.bend[worst])
    return [
        Note(
            "rigid-scatter-not-linear",
            f"Impacts do not grow evenly with the release's scatter: at {where}, two standard "
            f"deviations lie {share:.0f} % off a straight line, because the air's force grows "
            "faster than the angle. The group allows for each cause's bend alone: it is not "
            "normal, and with several causes rather larger.",
        )
    ]
