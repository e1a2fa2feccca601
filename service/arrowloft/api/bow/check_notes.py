"""What an arrow check leaves to others, and where its figures say less than they seem to."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from arrowloft.api.bow.check_members import STANDARDS, under_of
from arrowloft.api.replies import ReplyUnits
from arrowloft.core.bow.arrow_check import ROUNDING, Arrivals, MassCheck
from arrowloft.core.bow.deflection import LARGEST_SAG, deflection
from arrowloft.core.setup.equipment import LEAST_MASS_PER_DRAW_WEIGHT
from arrowloft.plugin import Note

_USUAL_FOC = (0.0, 35.0)
"""FOC, in percent, of arrows whose point end is the heavier; at 35 the point would weigh more
than twice all the rest of a uniform arrow."""

MAKERS_CHARTS = Note(
    "makers-charts-decide",
    "This is arithmetic on what was given: whether arrow and bow go together, in mass, stiffness, "
    "length and point, the makers' charts decide. 5 grains per pound is common practice and "
    "protects no bow whose maker asks for more; look over bow and arrows for damage before "
    "every shot.",
)
_LOWERED = Note(
    "least-mass-lowered",
    "The check asks for less than the 5 grains per pound of draw weight of common practice: a "
    "lighter arrow may break the bow and hurt its archer. Go below only where the bow maker's "
    "own chart allows it.",
)
_ENERGY = Note(
    "energy-is-no-permission",
    "Energy and momentum are of the arrow as a point mass, its mass taken as exact; what it does "
    "to a target, a backstop or game follows from neither alone. Where a least figure is laid "
    "down, local law, the governing body and the ground's rules decide.",
)
_NEAR_REACH = Note(
    "uncertainty-near-reach",
    "Some uncertainties are null: so close to its reach, an arrow slower or with more drag by "
    "its standard uncertainty does not arrive.",
)
_NO_BALANCE = Note(
    "foc-needs-balance-point",
    "FOC is null: give arrow.balance_point, nock throat to balance point, and shaft_length.",
)
_NO_SHAFT = Note(
    "foc-needs-shaft-length",
    "The trade counts FOC on the length from nock throat to the end of the shaft, point excluded "
    "(from memory): give shaft_length for it. foc_whole_length is counted to the end of the "
    "point, and comes out smaller.",
)
_FOC = Note(
    "foc-is-mechanics",
    "FOC says how far ahead of the shaft's middle the arrow balances. Air that meets the arrow "
    "askew turns it about its balance point: the farther that lies ahead of where the air pushes, "
    "mostly at the vanes, the longer the lever that turns it straight. It also moves with the "
    "point's mass, which makes a shaft bend more as it leaves the string: keep to the arrow "
    "maker's chart.",
)
_FOC_UNUSUAL = Note(
    "foc-unusual",
    "The balance point is out of the way: an arrow whose point end is the heavier has an FOC of 0 "
    "to 35 %. Measure from the nock throat, and keep to the arrow maker's chart.",
)
_BOOKKEEPING = Note(
    "deflection-is-bookkeeping",
    "The deflection is converted as that of a straight, even beam, from one standard to the other "
    "(the 26-inch one and its pounds from memory); tapered shafts differ. It is no advice: which "
    "stiffness suits a bow, the arrow maker's chart decides, and a shaft too weak for its bow may "
    "break at the shot.",
)
_BENT = Note(
    "deflection-beyond-beam",
    "Some deflection is more than a tenth of its span, where the beam formula is off by a tenth "
    "and more; beyond 0.24 of the span there is null. Take the figures as rough, or measure with a "
    "lighter load, and keep to the arrow maker's chart.",
)


def mass_notes(check: MassCheck | None, asked_least: float) -> list[Note]:
    """Cautions about the least mass asked for; the usual one comes with every reply."""
    if asked_least < LEAST_MASS_PER_DRAW_WEIGHT * (1.0 - ROUNDING):
        return [_LOWERED]
    usual = LEAST_MASS_PER_DRAW_WEIGHT * (1.0 - ROUNDING)
    if check is None or not check.light or check.per_draw_weight < usual:
        return []
    return [
        Note(
            "below-asked-least-mass",
            "The arrow is lighter than the least mass per draw weight that was asked for, though "
            "not than the 5 grains per pound of common practice: if the figure is the bow "
            "maker's, do not shoot this arrow from this bow.",
        )
    ]


def balance_notes(foc: float | None, whole: float | None, balance: float | None) -> list[Note]:
    """What FOC means, what it lacks, and where it is out of the way."""
    if balance is None:
        return [_NO_BALANCE]
    low, high = _USUAL_FOC
    known = [share for share in (foc, whole) if share is not None][:1]
    notes = [_FOC_UNUSUAL for share in known if not low <= share <= high]
    return [*notes, _FOC] if foc is not None else [*notes, _NO_SHAFT]


def arrival_notes(found: Arrivals | None) -> list[Note]:
    """What energy and momentum leave open."""
    if found is not None and np.isnan(found.speed_uncertainty).any():
        return [_NEAR_REACH, _ENERGY]
    return [_ENERGY]


def deflection_notes(
    asked: Mapping[str, Any], stiff: float, length: float | None, units: ReplyUnits
) -> list[Note]:
    """Where the beam formula does not hold, and what it is not for.

    asked: the request's `deflection`.  stiff: flexural rigidity, N m2.  length: of the shaft,
    or of the arrow where only that is known, m.
    """
    notes = []
    under = (under_of(asked), *STANDARDS.values())
    if any(deflection(stiff, one) > LARGEST_SAG * one.span for one in under):
        notes.append(_BENT)
    longer = [one.span for one in under if length is not None and length < one.span]
    if longer:
        spans = " and ".join(units.text(span, "length") for span in sorted({*longer}))
        notes.append(
            Note(
                "shaft-shorter-than-span",
                f"The shaft is too short to lie on supports {spans} apart: a figure over such a "
                "span is that of the same shaft uncut, as makers mark it. A shaft cut shorter "
                "behaves more stiffly; keep to the arrow maker's chart for its length.",
            )
        )
    return [*notes, _BOOKKEEPING]
