"""Set-ups side by side at many distances: their marks and flights, and how they differ from one."""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.comparing.curves import Aims, Curves, Span, aimed_over
from arrowloft.core.comparing.fanning import fans_of
from arrowloft.core.comparing.fans import Fans
from arrowloft.core.comparing.held_mark import (
    Hits,
    hits_from_fans,
    hits_from_series,
    hits_row_by_row,
)
from arrowloft.core.comparing.row_by_row import aim_rows, few_enough
from arrowloft.core.comparing.rows import Rows, rows_from_fans
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.flight.aim import TooNear, nearest_aim
from arrowloft.core.flight.distances import KNOTS
from arrowloft.core.flight.reach import BeyondReach, Unsolved
from arrowloft.core.setup.shot import as_lanes
from arrowloft.core.sight.sight import Sight

ONE_DISTANCE = 1e-9
"""Distances whose share of each other is no more apart than this are one."""


@dataclass(frozen=True, kw_only=True)
class SideBySide:
    """Set-ups at distances; arrays (set-ups, distances), SI, NaN where out of reach.

    distance: (distances,), as asked for.  baseline: position of the set-up that the
        others are held against.
    launch_angle, time, speed, drift: as in `Aimed`.  energy, momentum: at arrival.
    reynolds_at_launch, reynolds_at_arrival: on the shaft diameter.
    up, right: impact with the baseline's launch angle kept and no windage, less the
        baseline's own; exactly 0 for the baseline. NaN, too, where the arrow never comes
        there so.
    time_difference, speed_difference: from the baseline's.
    travel, clicks, travel_difference, clicks_difference, height_uncertainty,
        travel_uncertainty: as in `MarkTable`, each set-up from its own mark at the zero
        distance, and from the baseline's; None without a sight, or clicks; NaN, too, where
        the zero distance is out of reach.
    farthest: distance that a set-up reaches, m, where it does not reach all; else NaN.
    followed: whether a set-up's flights could be solved.
    least_airspeed, greatest_airspeed: along its flights, m/s; NaN where it reaches nothing.
    error: estimated error of any launch angle, rad, and position_error of any impact, m.
    aimed: what the partings are found from.
    """

    distance: Array
    baseline: int
    launch_angle: Array
    time: Array
    speed: Array
    drift: Array
    energy: Array
    momentum: Array
    reynolds_at_launch: Array
    reynolds_at_arrival: Array
    up: Array
    right: Array
    time_difference: Array
    speed_difference: Array
    travel: Array | None
    clicks: Array | None
    travel_difference: Array | None
    clicks_difference: Array | None
    height_uncertainty: Array | None
    travel_uncertainty: Array | None
    farthest: Array
    followed: Mask
    least_airspeed: Array
    greatest_airspeed: Array
    error: float
    position_error: float
    aimed: "AimedSetups"

    def of(self, setup: int) -> "SideBySide":
        """The rows of one set-up, (distances,) each."""
        rows: dict[str, Any] = {
            item.name: value[setup]
            for item in fields(self)
            if isinstance(value := getattr(self, item.name), np.ndarray) and value.ndim == 2
        }
        return replace(self, **rows)


@dataclass(frozen=True, kw_only=True)
class AimedSetups:
    """Set-ups aimed side by side, and loosed with the baseline's marks.

    rows: at the distances and, with a sight, at its zero distance last.
    curves: over the range of the distances; None where that is one distance.
    fans: of what is read from these; None where nothing is.
    """

    setups: Setups
    distances: Array
    baseline: int
    sight: Sight | None
    rows: Rows
    curves: Curves | None
    fans: Fans | None
    hits: Hits

    @property
    def zero_angle(self) -> Array:
        """Launch angle of each set-up at the sight's zero distance, rad, (set-ups,)."""
        return self.rows.aims[0, :, -1]


def side_by_side(
    setups: Setups,
    distances: Array,
    *,
    baseline: int = 0,
    sight: Sight | None = None,
    speed_uncertainty: Real = 0.0,
    drag_uncertainty: Real = 0.0,
) -> SideBySide:
    """Set-ups at each distance, m, all solved together, in the order given.

    baseline: position of the set-up that the others are held against.
    speed_uncertainty: standard uncertainty of each launch speed, m/s.
    drag_uncertainty: of each drag area, as a share of it.

    Raises TooNear; BeyondReach and Unsolved for the baseline alone, its position as
    `case`. The lanes of the first two count the distances, then the zero distance.
    """
    asked = distances if sight is None else np.append(distances, sight.zero_distance)
    _require_ahead(setups, asked)
    rows, hits, curves, fans = _solved(setups, distances, asked, baseline)
    _require_baseline(setups, baseline, asked, rows)
    aimed = AimedSetups(
        setups=setups,
        distances=distances,
        baseline=baseline,
        sight=sight,
        rows=rows,
        curves=curves,
        fans=fans,
        hits=hits,
    )
    shares = np.array(
        (
            as_lanes(speed_uncertainty, setups.count) / setups.shot.launch_speed,
            as_lanes(drag_uncertainty, setups.count),
        )
    )
    lever = np.abs(rows.aims[Aims._fields.index("lever")])
    return SideBySide(
        distance=distances,
        baseline=baseline,
        **_flights(aimed),
        up=hits.up,
        right=hits.right,
        **_marks(aimed, shares),
        farthest=rows.farthest,
        followed=rows.followed,
        least_airspeed=rows.least_airspeed,
        greatest_airspeed=rows.greatest_airspeed,
        error=float(rows.error.max()),
        position_error=float(hits.error.max() + rows.error[baseline] * lever[baseline].max()),
        aimed=aimed,
    )


def _require_ahead(setups: Setups, asked: Array) -> None:
    nearest = float(np.max(nearest_aim(setups.shot)))
    behind = np.flatnonzero(~(asked >= nearest))
    if behind.size:
        raise TooNear(nearest, tuple(int(lane) for lane in behind))


def _solved(
    setups: Setups, distances: Array, asked: Array, baseline: int
) -> tuple[Rows, Hits, Curves | None, Fans | None]:
    """Rows and hits: read from series where these hold, else from fans, or solved one by one."""
    rows, every = Rows.blank(setups.count, asked.size), np.arange(setups.count)
    if not distances.max() > distances.min() * (1.0 + ONE_DISTANCE):
        if few_enough(setups, asked.size):
            rows.store(aim_rows(setups, asked), every)
            return rows, hits_row_by_row(setups, baseline, distances, rows), None, None
        curves, hits = None, Hits.blank(setups.count, distances.size)
        left = unread = every
    else:
        curves = aimed_over(setups, Span(float(asked.min()), float(asked.max())))
        good = np.isfinite(curves.error)
        rows.aims[:, good], rows.changes[:, good] = curves.rows(good, asked)
        for name in ("error", "least_airspeed", "greatest_airspeed"):
            getattr(rows, name)[good] = getattr(curves, name)[good]
        hits = hits_from_series(setups, baseline, distances, curves)
        left, unread = np.flatnonzero(~good), np.flatnonzero(~good | ~hits.read)
    if not unread.size:
        return rows, hits, curves, None
    fans = fans_of(
        setups, unread, asked, _held(curves, baseline), changes=asked.size > distances.size
    )
    if left.size:
        rows.store(rows_from_fans(setups, fans, left, asked), left)
    hits_from_fans(hits, fans, baseline, unread, distances, rows)
    return rows, hits, curves, fans


def _held(curves: Curves | None, baseline: int) -> int | tuple[float, float]:
    """The baseline, whose angles are found with the others, or the ends of its angles, rad."""
    if curves is None or not np.isfinite(curves.error[baseline]):
        return baseline
    knots = curves.span.knots(KNOTS[-1][0])
    angle = curves.angle(knots, np.full(knots.size, baseline))
    return float(angle.min()), float(angle.max())


def _require_baseline(setups: Setups, baseline: int, asked: Array, rows: Rows) -> None:
    if not rows.followed[baseline]:
        raise Unsolved("the baseline's flights cannot be followed")
    missed = np.flatnonzero(~np.isfinite(rows.aims[0, baseline]))
    if missed.size:
        farthest = float(rows.farthest[baseline])
        lanes = tuple(int(lane) for lane in missed)
        raise BeyondReach(farthest, lanes, case=baseline)


def _flights(aimed: AimedSetups) -> dict[str, Array]:
    """What the flights by their own marks are like, and how they differ from the baseline's."""
    setups, size, base = aimed.setups, aimed.distances.size, aimed.baseline
    found = Aims(*aimed.rows.aims[..., :size])
    every = np.arange(setups.count)
    lanes = np.repeat(every, size)
    launched = setups.launch_airspeed(found.launch_angle.ravel(), lanes)
    mass = as_lanes(setups.shot.arrow.mass, setups.count)[:, None]
    return {
        "launch_angle": found.launch_angle,
        "time": found.time,
        "speed": found.speed,
        "drift": found.drift,
        "energy": 0.5 * mass * found.speed**2,
        "momentum": mass * found.speed,
        "reynolds_at_launch": setups.reynolds(launched, lanes).reshape(-1, size),
        "reynolds_at_arrival": setups.reynolds(found.arrival_airspeed.T).T,
        "time_difference": found.time - found.time[base],
        "speed_difference": found.speed - found.speed[base],
    }


def _marks(aimed: AimedSetups, shares: Array) -> dict[str, Any]:
    """What the sight is set to, and how far that may be wrong; None without a sight.

    shares: standard uncertainties of speed and drag as shares of them, (2, set-ups).
    """
    sight, base = aimed.sight, aimed.baseline
    names = ("travel", "clicks")
    if sight is None:
        doubts = ("height_uncertainty", "travel_uncertainty")
        return dict.fromkeys((*names, *(f"{name}_difference" for name in names), *doubts))
    angle = aimed.rows.aims[0]
    travel = sight.radius * (np.tan(angle[:, :-1]) - np.tan(angle[:, -1:]))
    clicks = sight.setting(travel).clicks
    # Both are known from a proven mark at the zero distance: what moves both counts for nothing.
    slope = aimed.rows.changes / np.cos(angle) ** 2
    doubt = np.hypot(*((slope[..., :-1] - slope[..., -1:]) * shares[..., None]))
    rise = aimed.rows.aims[Aims._fields.index("lever")] * np.cos(angle) ** 2
    return {
        "travel": travel,
        "clicks": clicks,
        "travel_difference": travel - travel[base],
        "clicks_difference": None if clicks is None else clicks - clicks[base],
        "height_uncertainty": doubt * rise[:, :-1],
        "travel_uncertainty": doubt * sight.radius,
    }
