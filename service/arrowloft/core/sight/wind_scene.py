"""What a picture of the wind's effect shows: drift and change of height over distance (SI)."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.fine import BETWEEN, finely
from arrowloft.core.flight.reach import BeyondReach, Unsolved
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight
from arrowloft.core.sight.wind_table import WindTable, wind_table

_MOST_FLOWN = 3000
"""Flights for curves, besides those asked for, at most: of a large grid, each wind is a thin
line among many."""

_ALONG = 1e-9
"""Share of its speed up to which a wind that blows across counts as blowing along."""


@dataclass(frozen=True, kw_only=True)
class WindScene:
    """All that is drawn.

    asked: distances asked for, rising and each once, m.  distance: of the curves, these
    among them, (points,).  speed, comes_from: of each wind, (winds,), m/s and rad.
    drift, up: shift of the impact with the still-air mark, right and up positive, (winds,
        points), m; NaN where the arrow never comes.
    table: as asked for, in its order.
    sight: None where none was given.
    """

    shot: Shot
    sight: Sight | None
    table: WindTable
    asked: Array
    distance: Array
    speed: Array
    comes_from: Array
    drift: Array
    up: Array

    @property
    def upwind(self) -> Array:
        """How far impacts come to the side that their wind comes from, (winds, points), m.

        Negative: to the other side.  0 in a wind that blows along the path.  NaN as of `drift`.
        """
        right = self.speed * np.sin(self.comes_from)
        side = np.where(np.abs(right) > _ALONG * np.abs(self.speed), np.sign(right), 0.0)
        found: Array = side[:, None] * self.drift
        return found


def wind_scene(
    shot: Shot, table: WindTable, speeds: Array, directions: Array, sight: Sight | None = None
) -> WindScene:
    """The scene of a table, solved for the same shot, speeds, directions and sight.

    Where the flights between the distances asked for cannot be followed, curves go straight
    from one to the next.
    """
    winds = speeds.size * directions.size
    given = table.distance[::winds]
    asked, first = np.unique(given, return_index=True)
    distance, drift, up = asked, *(v.reshape(-1, winds)[first] for v in (table.drift, table.up))
    between = np.setdiff1d(finely(asked, min(BETWEEN, _MOST_FLOWN // winds)), asked)
    if between.size:
        try:
            more = wind_table(shot, between, speeds, directions)
        except (BeyondReach, Unsolved):
            pass
        else:
            order = np.argsort(np.concatenate((asked, between)), kind="stable")
            distance = np.concatenate((asked, between))[order]
            drift, up = (
                np.concatenate((old, new.reshape(-1, winds)))[order]
                for old, new in ((drift, more.drift), (up, more.up))
            )
    return WindScene(
        shot=shot,
        sight=sight,
        table=table,
        asked=asked,
        distance=distance,
        speed=table.wind_speed[:winds],
        comes_from=table.wind_from[:winds],
        drift=drift.T,
        up=up.T,
    )
