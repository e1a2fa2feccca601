"""The error budget: how far each input moves the impact, and its share of the scatter.

The archer has the mark for each distance. One input is then off while the sight is held,
and the impact moves up and right in the target plane. To first order it moves in
proportion, and inputs that vary independently add their variances.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np

from arrowloft.core.archer.groups import Group
from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.chances.budget_inputs import Input, Loosed
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.impacts import Impacts, impacts
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.setup.shot import Shot

_T = TypeVar("_T")

STENCIL = np.array([-3.0, -2.0, -1.0, 1.0, 2.0, 3.0])
"""Deltas at which arrows are loosed, in steps of the input."""

_FOURTH = np.array([0.0, 1.0, -8.0, 8.0, -1.0, 0.0]) / 12.0
_SIXTH = np.array([-1.0, 9.0, -45.0, 45.0, -9.0, 1.0]) / 60.0
"""Weights of the central differences of fourth and of sixth order, per step."""

NOISE = 2e-11
"""What the flights of neighbouring lanes may differ by beside their true difference, m
(measured against DOP853): it sums to NOISE / step in a derivative."""

BENT = 0.1
"""Share by which the true shift of one standard deviation may miss the straight line's."""

SEEN = 0.01
"""Share of all scatter that such a miss must exceed to be worth a word."""

_RESOLVED = 1e-6
"""Least shift worth a word, m: what a reply resolves."""


@dataclass(frozen=True, kw_only=True)
class ErrorBudget:
    """Shifts of the impact and what they add up to; SI.

    names: of the inputs.  distance: (rows,).
    up, right: shift of the impact per unit of each input, (inputs, rows); NaN where an
        arrow near the reach does not come to the target.
    error: estimated error of that shift, (inputs, rows).
    scatter: standard deviation of each input, (inputs,); NaN where it is not known.
    sd_up, sd_right: standard deviations that it makes, (inputs, rows), m; NaN as above.
    share: of the sum of all variances, up and right together, (inputs, rows).
    rank: 1 for the largest share at a distance, (inputs, rows); 0 without a scatter.
    bent: whether a shift of one standard deviation is off the straight line by BENT, and by
        SEEN of all scatter.
    widens: inputs that differ from arrow to arrow, (inputs,).
    total_up, total_right: standard deviations of all inputs together, (rows,).
    relative_error: greatest estimated error of a shift as a share of it, or of a micrometre
        a step where the shift is less.
    aimed_error: estimated error of the launch angles, rad.  position_error: of any impact, m.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    names: tuple[str, ...]
    distance: Array
    up: Array
    right: Array
    error: Array
    scatter: Array
    sd_up: Array
    sd_right: Array
    share: Array
    rank: Lanes
    bent: Mask
    widens: Mask
    total_up: Array
    total_right: Array
    relative_error: float
    aimed_error: float
    position_error: float
    airspeed_range: tuple[float, float]

    def worth_fixing(self) -> list[tuple[str, float]]:
        """Inputs of known scatter with their mean share over the distances, largest first."""
        known = np.flatnonzero(np.isfinite(self.scatter))
        mean = np.nan_to_num(self.share[known]).mean(axis=1)
        order = np.argsort(-mean, kind="stable")
        return [(self.names[known[at]], float(mean[at])) for at in order]


@dataclass(frozen=True, kw_only=True)
class Explained:
    """An archer's group beside what the inputs explain of it; (rows,), SI.

    up, right: standard deviations of the group, grown in proportion to the distance.
    share: of the group's variance, up and right together, that the inputs which differ
        from arrow to arrow explain; on neither axis more than there is.
    left_up, left_right: standard deviations that are left over, 0 where more is explained.
    excess: variance explained over that of the group, on the axis where it is larger.
    """

    up: Array
    right: Array
    share: Array
    left_up: Array
    left_right: Array
    excess: Array


def error_budget(shot: Shot, distances: Array, inputs: Mapping[str, Input]) -> ErrorBudget:
    """The budget of one shot (every member a float) at distances, m, by the inputs' names.

    All inputs, distances and deltas fly in one batch. A derivative is the central difference
    of sixth order over +-1, 2 and 3 steps; it is said to be wrong by as much as it differs
    from that of fourth order over +-1 and 2, which is more wrong, and by the noise.

    Raises TooNear, BeyondReach, Unsolved; lanes count the distances. ValueError for an air
    that a delta makes impossible.
    """
    aimed = aim(shot, distances)
    require_reached(shot, aimed)
    chosen = list(inputs.values())
    found = _flown(shot, aimed, chosen)
    steps = np.array([[item.step] for item in chosen])
    up, right, error = _derivatives(
        np.array([met[:, : STENCIL.size] for met in found.shifts]), steps
    )
    scatter = np.array([np.nan if item.scatter is None else item.scatter for item in chosen])
    sd_up, sd_right = np.abs(up) * scatter[:, None], np.abs(right) * scatter[:, None]
    variance = sd_up**2 + sd_right**2
    total = np.nansum(variance, axis=0)
    share = variance / np.where(total > 0.0, total, 1.0)
    return ErrorBudget(
        names=tuple(inputs),
        distance=distances,
        up=up,
        right=right,
        error=error,
        scatter=scatter,
        sd_up=sd_up,
        sd_right=sd_right,
        share=share,
        rank=_ranks(share),
        bent=_bent(found.shifts, np.array([up, right]), scatter, np.sqrt(total)),
        widens=np.array([item.widens for item in chosen]),
        total_up=np.sqrt(np.nansum(sd_up**2, axis=0)),
        total_right=np.sqrt(np.nansum(sd_right**2, axis=0)),
        relative_error=_relative(error, np.hypot(up, right), steps),
        aimed_error=float(aimed.error.max()),
        position_error=float(np.nan_to_num(found.met.error).max()),
        airspeed_range=found.met.airspeed_range,
    )


def explained(budget: ErrorBudget, group: Group) -> Explained:
    """What the inputs that differ from arrow to arrow explain of an archer's group."""
    up = group.angular_vertical * budget.distance
    right = group.angular_sideways * budget.distance
    known_up = np.nansum(budget.sd_up[budget.widens] ** 2, axis=0)
    known_right = np.nansum(budget.sd_right[budget.widens] ** 2, axis=0)
    left_up, left_right = np.maximum(up**2 - known_up, 0.0), np.maximum(right**2 - known_right, 0.0)
    whole = up**2 + right**2
    with np.errstate(divide="ignore", invalid="ignore"):
        return Explained(
            up=up,
            right=right,
            share=np.where(whole > 0.0, 1.0 - (left_up + left_right) / whole, 0.0),
            left_up=np.sqrt(left_up),
            left_right=np.sqrt(left_right),
            excess=np.fmax(known_up / up**2, known_right / right**2),
        )


@dataclass(frozen=True)
class _Flown:
    """All impacts, and by input the shifts (2, deltas, rows): up and right, from the mark's own."""

    met: Impacts
    shifts: list[Array]


def _flown(shot: Shot, aimed: Aimed, inputs: Sequence[Input]) -> _Flown:
    """Loose every input's arrows in one batch."""
    rows = aimed.distance.size
    parts, counts = [], []
    for item in inputs:
        deltas = _deltas(item)
        lanes = np.repeat(deltas, rows)
        held = Loosed(
            shot=shot,
            launch_angle=np.tile(aimed.launch_angle, deltas.size),
            distance=np.tile(aimed.distance, deltas.size),
        )
        parts.append(item.change(held, lanes))
        counts.append(lanes.size)
    loosed: Loosed = _joined(parts, counts)
    met = impacts(loosed.shot, loosed.launch_angle, loosed.distance, yaw=loosed.yaw)
    ends = np.cumsum(counts)[:-1]
    right = met.right + loosed.right
    shifts = [
        np.array([up.reshape(-1, rows), aside.reshape(-1, rows) - aimed.drift])
        for up, aside in zip(np.split(met.up, ends), np.split(right, ends), strict=True)
    ]
    return _Flown(met, shifts)


def _deltas(item: Input) -> Array:
    """The stencil's, and one standard deviation each way where there is one."""
    stencil = item.step * STENCIL
    if item.scatter is None:
        return stencil
    return np.append(stencil, (-item.scatter, item.scatter))


def _joined(items: Sequence[_T], counts: Sequence[int]) -> _T:
    """Lanes of several shots one after another; what is the same in all stays as it is."""
    changes: dict[str, Any] = {}
    for declared in fields(items[0]):  # type: ignore[arg-type]
        values = [getattr(item, declared.name) for item in items]
        first = values[0]
        if all(value is first for value in values):
            continue
        if is_dataclass(first):
            changes[declared.name] = _joined(values, counts)
        else:
            lanes = [np.broadcast_to(v, (n,)) for v, n in zip(values, counts, strict=True)]
            changes[declared.name] = np.concatenate(lanes)
    return replace(items[0], **changes)  # type: ignore[type-var]


def _derivatives(shifts: Array, steps: Array) -> tuple[Array, Array, Array]:
    """Shifts per unit up and right and their estimated errors, (inputs, rows).

    shifts: (inputs, 2, stencil, rows).  steps: (inputs, 1).
    """
    up, right = np.einsum("s,icsr->cir", _SIXTH, shifts) / steps
    rough = np.einsum("s,icsr->cir", _FOURTH, shifts) / steps
    error = np.hypot(up - rough[0], right - rough[1]) + NOISE / steps
    return up, right, error


def _relative(error: Array, size: Array, steps: Array) -> float:
    """Greatest error as a share of the shift."""
    return float(np.nanmax(error / np.maximum(size, _RESOLVED / steps), initial=0.0))


def _ranks(share: Array) -> Lanes:
    """Places of the shares in each column, 1 the largest; 0 for NaN."""
    ranks = np.zeros(share.shape, dtype=np.intp)
    order = np.argsort(-share, axis=0, kind="stable")  # NaN comes last
    np.put_along_axis(ranks, order, np.arange(1, len(share) + 1)[:, None], axis=0)
    ranks[np.isnan(share)] = 0
    return ranks


def _bent(shifts: Sequence[Array], slopes: Array, scatter: Array, total: Array) -> Mask:
    """Inputs and rows in which a shift of one standard deviation is off the straight line.

    total: standard deviation of all inputs together, (rows,); what is lost in it is not told.
    """
    bent = np.zeros(slopes.shape[1:], dtype=bool)
    for row, (deviation, met) in enumerate(zip(scatter, shifts, strict=True)):
        if np.isnan(deviation):
            continue
        line = slopes[:, row] * deviation
        allowed = np.maximum(BENT * np.hypot(*line), SEEN * total)
        for side, at in ((-1.0, -2), (1.0, -1)):
            # An arrow that never arrives is NaN, and counts.
            bent[row] |= ~(np.hypot(*(met[:, at] - side * line)) <= allowed + _RESOLVED)
    return bent
