"""What a request leaves open: air, gravity and derived lengths, each assumption a note."""

from collections.abc import Mapping
from typing import Any, cast

import numpy as np

from arrowloft.api.problems import Fault, Problem
from arrowloft.api.wording import sentence
from arrowloft.core.arrays import Array, Real
from arrowloft.core.bow.arrow_check import mass_check
from arrowloft.core.setup.air import Air, air, beyond_cipm_range
from arrowloft.core.setup.equipment import Arrow, Bow, launch_forward, tip_lead
from arrowloft.core.setup.gravity import STANDARD, normal_gravity
from arrowloft.plugin import LaunchSpeed, Note


def air_of(request: Mapping[str, Any], notes: list[Note]) -> Air:
    """The air from what was measured; noted what had to be assumed."""
    altitude = request.get("site", {}).get("altitude")
    try:
        state, assumed = air(**request.get("air", {}), altitude=altitude or 0.0)
    except ValueError as error:
        detail = sentence(str(error))
        raise Problem("invalid-request", detail, (Fault("/air", detail),)) from None
    if assumed:
        names = " and ".join(", ".join(assumed).replace("_", " ").rsplit(", ", 1))
        where = "sea level" if altitude is None else "the site's altitude"
        notes.append(
            Note(
                "air-assumed",
                f"Taken from the standard atmosphere at {where}, whose air is dry: {names}. "
                "Measure on the day for marks that hold.",
            )
        )
    if beyond_cipm_range(state.temperature, state.pressure):
        notes.append(
            Note(
                "air-beyond-recommended-range",
                "The air is outside 15 to 27 degC or 600 to 1100 hPa, for which the density "
                "formula is recommended; it still holds to about one part in ten thousand.",
            )
        )
    return state


def gravity_of(request: Mapping[str, Any], notes: list[Note]) -> float:
    """Gravity at the site, m/s2; noted where it is the standard one."""
    site = request.get("site", {})
    if "latitude" in site:
        return float(normal_gravity(site["latitude"], site.get("altitude", 0.0)))
    notes.append(
        Note("gravity-standard", "Standard gravity is used, as no latitude of the site is given.")
    )
    return STANDARD


def forward_of_eye(bow: Bow, arrow: Arrow, notes: list[Note]) -> float:
    """Balance point ahead of the eye at launch, m; noted where it had to be assumed."""
    derived = launch_forward(bow, arrow)
    if derived is not None:
        return cast(float, derived)
    notes.append(
        Note(
            "launch-forward-assumed",
            "The arrow is taken to leave the string at the eye: give bow.launch_forward, or the "
            "draw length, the brace height and the arrow's balance point.",
        )
    )
    return 0.0


def lead_of_tip(arrow: Arrow, notes: list[Note]) -> float:
    """Tip ahead of the balance point, m; noted where it had to be assumed."""
    derived = tip_lead(arrow)
    if derived is not None:
        return cast(float, derived)
    notes.append(
        Note(
            "tip-lead-assumed",
            "The arrow's tip is taken to be at its balance point: give arrow.tip_lead, or the "
            "arrow's length and balance point.",
        )
    )
    return 0.0


LIGHT_ARROW = "light-arrow"
"""Code of the caution of an arrow that may harm the bow."""


def light_arrow(bow: Bow, arrow: Arrow, launched: LaunchSpeed | None = None) -> list[Note]:
    """A caution where the arrow is lighter than common practice allows, or cannot be checked.

    launched: the launch model's answer; one with the figure "peak_force" knows the draw
    weight and has checked the arrow's mass by itself.
    """
    if bow.draw_weight is None:
        if launched is not None and "peak_force" in launched.figures:
            return []
        return [
            Note(
                "least-mass-unchecked",
                "The arrow's mass was not checked, as the draw weight is not known: give "
                "bow.draw_weight to have it checked against common practice, and keep to the bow "
                "maker's chart.",
            )
        ]
    if not mass_check(float(arrow.mass), float(bow.draw_weight)).light:
        return []
    return [
        Note(
            LIGHT_ARROW,
            "The arrow is lighter than 5 grains per pound of draw weight, which by common "
            "practice may harm the bow and its archer: keep to the bow maker's least arrow mass.",
        )
    ]


_WEATHERVANE = Note(
    "weathervane",
    "The arrow turns its tip into the wind as it leaves the string, here at once: where it has "
    "not yet been carried farther than that, at short distances, it hits on the side that the "
    "wind comes from.",
)
_SEEN = 1e-6
"""Least drift worth a word, m: what a reply resolves."""


def weathervane(speed: Real, blows_from: Real, drift: Array) -> list[Note]:
    """A word where some arrow hits on the side that its wind comes from.

    speed, blows_from: of the wind, m/s and rad.  drift: of the tips, right positive, m.
    """
    # No number, as of an arrow that does not arrive, is above anything.
    aside = drift * np.sign(speed * np.sin(blows_from))
    return [_WEATHERVANE] if np.any(aside > _SEEN) else []
