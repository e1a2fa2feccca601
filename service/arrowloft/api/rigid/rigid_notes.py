"""What to tell with a rigid flight: how rough it is, what it leaves out, what was assumed."""

import math

from arrowloft.api.replies import ReplyUnits
from arrowloft.core.rigid.aerodynamics import Vanes
from arrowloft.core.rigid.release_scatter import BENT
from arrowloft.core.rigid.rigid_flight import RigidFlight
from arrowloft.plugin import Note

_WIDE = math.radians(15)

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
    "The drag model does not look at the angle: the drag rises by the normal force's part along "
    "the air's motion.",
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


def rigid_notes(found: RigidFlight, vanes: Vanes, estimated: bool, units: ReplyUnits) -> list[Note]:
    """The notes of one rigid flight, the worst foremost."""
    notes = [DERIVED]
    if found.settling.greatest > _WIDE:
        notes.append(_TURNED)
    notes += _bend(found, units)
    notes += [LEFT_OUT, LAYER, _BENDS]
    if estimated:
        notes.append(_ESTIMATED)
    if not found.own_drag:
        notes.append(_FROM_FORCE)
    if vanes.offset != 0.0:
        notes.append(_OFFSET)
    return notes


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
            "faster than the angle. The standard deviations are those of small scatter.",
        )
    ]
