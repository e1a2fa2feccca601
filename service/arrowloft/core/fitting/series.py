"""Measured series: what was seen of one arrow's flight, or of several shots taken alike."""

from dataclasses import dataclass, field

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.setup.shot import Shot

KINDS = ("speed", "time", "drop", "distance", "height", "right")
"""What a row of a series may hold; the last three are the coordinates of tracked positions."""


def _none() -> Array:
    return np.empty(0)


@dataclass(frozen=True, kw_only=True)
class Readings:
    """Values read as the tip passes planes across the line of sight; arrays (readings,), SI.

    distance: of the plane from the eye.  value, uncertainty: and its standard uncertainty.
    """

    distance: Array = field(default_factory=_none)
    value: Array = field(default_factory=_none)
    uncertainty: Array = field(default_factory=_none)


@dataclass(frozen=True, kw_only=True)
class Track:
    """Places of one arrow at times; arrays (places,), SI.

    time: by the clock of the series.  distance, height, right: along, over and to the right
    of the line of sight; right is NaN where it was not seen.
    uncertainty: standard uncertainty of each coordinate.
    of_tip: the place is the tip's, else the balance point's.
    """

    time: Array = field(default_factory=_none)
    distance: Array = field(default_factory=_none)
    height: Array = field(default_factory=_none)
    right: Array = field(default_factory=_none)
    uncertainty: Array = field(default_factory=_none)
    of_tip: bool = False


@dataclass(frozen=True, kw_only=True)
class Series:
    """One series; its rows stand in the order of `KINDS`, each kind's as given.

    shot: every member a float; its launch speed and drag are the unknown's to say.
    speeds: of the balance point, m/s.  times: by the clock of the series, s.
    drops: of the tip below the line along which the arrow was launched, m, perpendicular
        to the line of sight.
    aimed_at: distance at which the tip meets the height of the line of sight, m, which
        decides the launch angle; None: the launch angle is given or unknown itself.
    """

    shot: Shot
    speeds: Readings = field(default_factory=Readings)
    times: Readings = field(default_factory=Readings)
    drops: Readings = field(default_factory=Readings)
    track: Track = field(default_factory=Track)
    aimed_at: float | None = None

    @property
    def readings(self) -> tuple[Readings, Readings, Readings]:
        """What was read at planes: speeds, times, drops."""
        return self.speeds, self.times, self.drops

    def counts(self) -> tuple[int, ...]:
        """Rows of each of `KINDS`."""
        places = self.track.time.size
        seen = int(np.isfinite(self.track.right).sum())
        return *(item.value.size for item in self.readings), places, places, seen

    def observed(self) -> Array:
        """What was measured, (rows,)."""
        track = self.track
        aside = track.right[np.isfinite(track.right)]
        values = (item.value for item in self.readings)
        return np.concatenate((*values, track.distance, track.height, aside))

    def uncertainty(self) -> Array:
        """Its standard uncertainty, (rows,)."""
        track = self.track
        aside = track.uncertainty[np.isfinite(track.right)]
        values = (item.uncertainty for item in self.readings)
        return np.concatenate((*values, track.uncertainty, track.uncertainty, aside))
