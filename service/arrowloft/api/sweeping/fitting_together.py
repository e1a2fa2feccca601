"""What the set-ups of a sweep must keep to together: draws within bounds, lengths that fit."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.sweeping.plan import Plan
from arrowloft.api.sweeping.varied import Sampled
from arrowloft.core.arrays import Array, Mask
from arrowloft.core.setup.equipment import PIVOT_ALLOWANCE

_CHECKED = 1 << 16
"""Draws looked at together, to see whether their member allows them."""


def check(plan: Plan) -> None:
    """Refuse, with their number, set-ups that a request of one would be refused for.

    Raises ValidationError.
    """
    _check_draws(plan)
    _check_lengths(plan)


def _check_draws(plan: Plan) -> None:
    """Refuse draws that their member would refuse, with their number."""
    faults = {}
    for item in plan.varied:
        if isinstance(item, Sampled):
            least, greatest = item.target.member.bounds.ends()
            outside = sum(
                int(np.count_nonzero(~((drawn >= least) & (drawn <= greatest))))
                for drawn in _all_draws(plan, item)
            )
            if outside:
                faults[item.place] = {
                    "distribution": [
                        f"{outside} of {plan.grid.samples} draws are outside of what this member "
                        "takes: make the distribution narrower, or cut it off with `from` and "
                        "`to`."
                    ]
                }
    if faults:
        raise ValidationError({"vary": faults})


def _all_draws(plan: Plan, item: Sampled) -> Iterator[Array]:
    assert plan.seed is not None
    for start in range(0, plan.grid.samples, _CHECKED):
        yield item.drawn(plan.seed, start, min(start + _CHECKED, plan.grid.samples))


def _power_stroke(asked: Mapping[str, Any]) -> Mask:
    bow = asked["bow"]
    return np.asarray(bow["draw_length"] - PIVOT_ALLOWANCE <= bow["brace_height"])


def _beyond_tip(asked: Mapping[str, Any]) -> Mask:
    arrow = asked["arrow"]
    return np.asarray(arrow["balance_point"] > arrow["length"])


_TOGETHER = (
    (
        "bow",
        ("brace_height", "draw_length"),
        _power_stroke,
        "leaves no power stroke: it must be less than the draw length less 1.75 in",
    ),
    (
        "arrow",
        ("balance_point", "length"),
        _beyond_tip,
        "lies beyond the tip: it must be at most the length",
    ),
)
"""Members that must fit together in every set-up, as the schemas of bow and arrow have it."""


def _check_lengths(plan: Plan) -> None:
    faults: dict[int, Any] = {}
    for root, names, broken, fault in _TOGETHER:
        which = [item for item in plan.varied if item.target.steps in {(root, n) for n in names}]
        if not which or not all(name in plan.asked.get(root, {}) for name in names):
            continue
        bad = sum(
            int(np.count_nonzero(broken(plan.with_lanes(plan.lanes(*block)))))
            for block in plan.blocks
        )
        if bad:
            faults[which[0].place] = {
                "pointer": [f"In {bad} of {plan.grid.setups} set-ups {root}.{names[0]} {fault}."]
            }
    if faults:
        raise ValidationError({"vary": faults})
