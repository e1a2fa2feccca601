"""What a picture of a comparison shows: impacts over distance, drag laws over Reynolds (SI)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.comparing.side_by_side import SideBySide
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw, Flow, cross_section

_BETWEEN = 61
"""Distances at which a curve is read from series, besides those asked for."""

_MOST_READ = 12
"""Lanes up to which that is done: of more, each is a thin line among many."""


@dataclass(frozen=True, kw_only=True)
class Curve:
    """One lane over distance; arrays (points,), m, the distance rising.

    launch, drag: positions of its models among the scene's.  up, right: impact with the
    baseline's mark, less the baseline's; NaN where its arrow never comes.
    parts: "height", "right" or "clicks" -> distance where it parts by that, m; NaN: it never does.
    left: whether it left a range in which its models may be trusted.
    """

    launch: int
    drag: int
    distance: Array
    up: Array
    right: Array
    parts: Mapping[str, float]
    left: bool


@dataclass(frozen=True, kw_only=True)
class Law:
    """One drag law; arrays (points,), Reynolds number on the shaft diameter, rising.

    coefficient: Cd on the shaft cross-section; NaN where the law answers nothing.
    flown: least and greatest Reynolds number flown by it; NaN where no arrow arrived.
    """

    reynolds: Array
    coefficient: Array
    flown: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Scene:
    """All that is drawn.

    distance: as asked for, rising, m.  launches, drags: labels of the models.
    curves: every launch model with each drag model in turn.  baseline: position among them.
    laws: of the drag models.  height, aside: tolerances of the impact, m; clicks: of the
    travel; None where none is asked for.  speeds: launch speed of each curve, m/s.
    arrow_mass: kg.  wind_speed: m/s.
    repeated: whether a launch model, and a drag model, stands there more than once.
    """

    distance: Array
    launches: tuple[str, ...]
    drags: tuple[str, ...]
    curves: tuple[Curve, ...]
    baseline: int
    laws: tuple[Law, ...]
    height: float | None
    clicks: float | None
    aside: float | None = None
    speeds: tuple[float, ...]
    arrow_mass: float
    wind_speed: float
    repeated: tuple[bool, bool] = (False, False)


def impacts_over(table: SideBySide) -> list[tuple[Array, Array, Array]]:
    """Distance, up and right of each set-up for its curve, (points,) each, m.

    Where impacts are read from series and the set-ups are few, between the distances asked
    for as well, so that the curve is one.
    """
    hits, span = table.aimed.hits, table.aimed.curves
    order = np.argsort(table.distance, kind="stable")
    asked = table.distance[order]
    found = []
    for each in range(table.up.shape[0]):
        if span is None or not hits.read[each] or table.up.shape[0] > _MOST_READ:
            found.append((asked, table.up[each][order], table.right[each][order]))
            continue
        between = np.geomspace(asked[0], asked[-1], _BETWEEN)[1:-1]
        fine = np.union1d(asked, between)
        which = np.full(fine.size, each)
        up, right = (span.span.read(series, fine, which) for series in hits.series)
        found.append((fine, up, right))
    return found


def coefficient(law: DragLaw, arrow: Arrow, air: Air, reynolds: Array) -> Array:
    """Cd = CdA / (pi d^2 / 4) of a law at Reynolds numbers on the shaft diameter d."""
    airspeed = reynolds * air.viscosity / (air.density * arrow.shaft_diameter)
    flow = Flow(airspeed, air.density, air.viscosity, air.speed_of_sound)
    found: Array = law(flow, arrow) / cross_section(arrow)
    return found


def flown_by(table: SideBySide, drags: Sequence[int], count: int) -> list[tuple[float, float]]:
    """Least and greatest Reynolds number flown by each of `count` drag laws; NaN: none.

    drags: position of each set-up's law.
    """
    setups, which = table.aimed.setups, np.asarray(drags)
    low = setups.reynolds(table.least_airspeed)
    high = setups.reynolds(table.greatest_airspeed)
    found = []
    for law in range(count):
        some = (which == law) & np.isfinite(low)
        ends = (low[some].min(), high[some].max()) if some.any() else (np.nan, np.nan)
        found.append((float(ends[0]), float(ends[1])))
    return found
