"""From a comparison to what its picture shows."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

import numpy as np

from arrowloft.api.comparing.comparison_reply import Compared
from arrowloft.api.comparing.members import Labelled
from arrowloft.api.problems import Problem
from arrowloft.core.arrays import Array
from arrowloft.core.comparing.scene import Curve, Law, Scene, coefficient, flown_by, impacts_over
from arrowloft.plugin import CaseError, ParameterError
from arrowloft.plugin.guard import ModelFault
from arrowloft.plugin.validity import OutsideValidity

_BEYOND = 0.35
"""How far beyond what is flown laws are drawn, as a share of that."""

_LEAST = 0.04
"""The same at least, as a share of the Reynolds number."""

_POINTS, _FEW, _MANY = 121, 31, 12
"""Reynolds numbers at which a law is asked, and where there are more laws than that."""


def scene_of(
    compared: Compared,
    asked: Mapping[str, Any],
    tolerance: Mapping[str, float],
    left: Sequence[bool],
) -> Scene:
    """What is drawn of a comparison and of its tolerance, SI.

    left: whether each lane left a range in which its models may be trusted.
    """
    lanes, table = compared.lanes, compared.table
    shot = table.aimed.setups.shot
    curves = tuple(
        Curve(
            launch=lane.launch,
            drag=lane.drag,
            distance=distance,
            up=up,
            right=right,
            parts={name: float(found.distance[index]) for name, found in compared.partings.items()},
            left=left[index],
        )
        for index, (lane, (distance, up, right)) in enumerate(
            zip(lanes.lanes, impacts_over(table), strict=True)
        )
    )
    return Scene(
        distance=np.sort(table.distance),
        launches=tuple(item.label for item in asked["launches"]),
        drags=tuple(item.label for item in asked["drags"]),
        curves=curves,
        baseline=table.baseline,
        laws=_laws(compared),
        height=tolerance.get("height"),
        aside=tolerance.get("right"),
        clicks=tolerance.get("clicks"),
        speeds=tuple(lane.setup.speed for lane in lanes.lanes),
        arrow_mass=float(cast(float, shot.arrow.mass)),
        wind_speed=float(cast(float, shot.wind_speed)),
        repeated=(_repeated(asked["launches"]), _repeated(asked["drags"])),
    )


def _repeated(models: Sequence[Labelled]) -> bool:
    """Whether a model stands there more than once."""
    return len({item.chosen.name for item in models}) < len(models)


def _laws(compared: Compared) -> tuple[Law, ...]:
    """The drag laws, over what is flown and a little beyond."""
    lanes = compared.lanes
    count = len(lanes.drags)
    flown = flown_by(compared.table, [lane.drag for lane in lanes.lanes], count)
    low, high = float(np.nanmin(flown)), float(np.nanmax(flown))
    more = max(_BEYOND * (high - low), _LEAST * high)
    grid = np.linspace(max(low - more, 0.5 * low), high + more, _FEW if count > _MANY else _POINTS)
    found = []
    for index, ends in enumerate(flown):
        own = np.array([end for end in ends if np.isfinite(end)])
        reynolds = np.union1d(grid, own)
        found.append(
            Law(reynolds=reynolds, coefficient=_asked(compared, index, reynolds, ends), flown=ends)
        )
    return tuple(found)


def _asked(compared: Compared, index: int, reynolds: Array, flown: tuple[float, float]) -> Array:
    """Cd of a law; of one that refuses what is not flown, only what is."""
    law, setup = compared.lanes.drags[index].law, compared.lanes.lanes[0].setup
    inside = (reynolds >= flown[0]) & (reynolds <= flown[1])
    for some in (np.ones_like(inside), inside):
        found = np.full(reynolds.size, np.nan)
        try:
            found[some] = coefficient(law, setup.arrow, setup.air, reynolds[some])
        except (Problem, CaseError, ParameterError, OutsideValidity, ModelFault):
            continue
        return found
    return np.full(reynolds.size, np.nan)
