"""The sight: from launch angles to travel, turns, clicks and readings (SI)."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Real


@dataclass(frozen=True, kw_only=True)
class Scale:
    """A linear scale on the sight's bar.

    reading_at_zero: what it shows at the zero distance.
    travel_per_unit: travel that changes the reading by one, m.
    increases_down: whether readings grow as the pin moves down.
    """

    reading_at_zero: float
    travel_per_unit: float
    increases_down: bool = True

    def reading(self, travel: Array) -> Array:
        """Reading after a travel from the zero, downward positive."""
        sign = 1.0 if self.increases_down else -1.0
        return self.reading_at_zero + sign * travel / self.travel_per_unit

    def travel_of(self, reading: float) -> float:
        """Travel from the zero that a reading stands for, m, downward positive."""
        sign = 1.0 if self.increases_down else -1.0
        return sign * (reading - self.reading_at_zero) * self.travel_per_unit


@dataclass(frozen=True, kw_only=True)
class Thread:
    """A screw that moves the pin: m a turn, and clicks a turn where it has them."""

    travel_per_turn: float
    clicks_per_turn: float | None = None

    def turns(self, travel: Array) -> Array:
        """Turns that make a travel; positive moves the pin the way the travel counts."""
        return travel / self.travel_per_turn

    def clicks(self, travel: Array) -> Array | None:
        """Nearest whole clicks that make a travel; None for a screw without clicks."""
        if self.clicks_per_turn is None:
            return None
        # Adding zero turns a rounded -0.0 into 0.0.
        return np.rint(self.turns(travel) * self.clicks_per_turn) + 0.0

    def travel_of(self, clicks: Real) -> Real:
        """Travel that clicks make, m."""
        assert self.clicks_per_turn is not None
        return clicks * (self.travel_per_turn / self.clicks_per_turn)


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What a travel is on the sight; None for what the sight lacks.

    turns, clicks: of the screw; clicks are the nearest whole ones.  reading: of the scale.
    """

    turns: Array | None = None
    clicks: Array | None = None
    reading: Array | None = None

    def rows(self, chosen: slice) -> "Setting":
        """Some of the rows."""
        return Setting(
            turns=None if self.turns is None else self.turns[chosen],
            clicks=None if self.clicks is None else self.clicks[chosen],
            reading=None if self.reading is None else self.reading[chosen],
        )

    @classmethod
    def by(cls, thread: Thread | None, scale: Scale | None, travel: Array) -> "Setting":
        """The setting that a screw and a scale make of a travel, m."""
        return cls(
            turns=thread.turns(travel) if thread else None,
            clicks=thread.clicks(travel) if thread else None,
            reading=scale.reading(travel) if scale else None,
        )


@dataclass(frozen=True, kw_only=True)
class Sight:
    """A sight with one moving pin, several fixed pins, or both.

    radius: pin ahead of the eye, along the arrow's line, m.
    zero_distance: where travel, clicks and turns are counted from, m.
    pins: distances of fixed pins, m.
    """

    radius: float
    zero_distance: float
    elevation: Thread | None = None
    windage: Thread | None = None
    scale: Scale | None = None
    pins: tuple[float, ...] = ()

    def travel(self, launch_angle: Array, zero_angle: float) -> Array:
        """Travel of the pin from the zero, m, downward positive: radius (tan a - tan a0)."""
        travel: Array = self.radius * (np.tan(launch_angle) - np.tan(zero_angle))
        return travel

    def setting(self, travel: Array) -> Setting:
        """What the sight is set to for a travel of the pin from the zero, m, down positive."""
        return Setting.by(self.elevation, self.scale, travel)

    def windage_setting(self, travel: Array) -> Setting:
        """What the windage is set to for a sideways travel of the pin, m, right positive."""
        return Setting.by(self.windage, None, travel)
