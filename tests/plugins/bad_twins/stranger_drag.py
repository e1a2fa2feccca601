"""Drag models that keep the contract until they are asked."""

import time
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.plugin import Array, Arrow, DragModel, Flow, Note, Source, parameter

MINUTE = 60.0


@dataclass(frozen=True, kw_only=True)
class Twin(DragModel):
    """A constant drag area, until a twin goes wrong."""

    version = "1"
    sources = (Source("Invented for these tests", "derived"),)
    default_uncertainty = 0.1

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return np.full(flow.airspeed.shape, 4e-5)


@dataclass(frozen=True, kw_only=True)
class Nan(Twin):
    """NaN where the arrow is fast."""

    name = "twin-nan"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return np.where(flow.airspeed > 1.0, np.nan, 4e-5)


@dataclass(frozen=True, kw_only=True)
class Shape(Twin):
    """One value for all airspeeds."""

    name = "twin-shape"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Any:
        return np.array([4e-5])


@dataclass(frozen=True, kw_only=True)
class Negative(Twin):
    """A negative area."""

    name = "twin-negative"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return np.full(flow.airspeed.shape, -4e-5)


@dataclass(frozen=True, kw_only=True)
class Raises(Twin):
    """An exception."""

    name = "twin-raises"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        raise ZeroDivisionError("a secret of the stranger's")


@dataclass(frozen=True, kw_only=True)
class Exits(Twin):
    """Written as a script."""

    name = "twin-exits"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        raise SystemExit(3)


@dataclass(frozen=True, kw_only=True)
class WritesAirspeed(Twin):
    """Halves the airspeed in place."""

    name = "twin-writes-airspeed"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        np.multiply(flow.airspeed, 0.5, out=flow.airspeed)
        return super().drag_area(flow, arrow)


@dataclass(frozen=True, kw_only=True)
class WritesArrow(Twin):
    """Makes the arrow heavier, one value or many."""

    name = "twin-writes-arrow"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        if isinstance(arrow.mass, np.ndarray):
            arrow.mass[...] = 1.0
        else:
            arrow.mass = 1.0  # type: ignore[misc]
        return super().drag_area(flow, arrow)


@dataclass(frozen=True, kw_only=True)
class Sleeps(Twin):
    """A minute for every answer."""

    name = "twin-sleeps"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        time.sleep(MINUTE)
        return super().drag_area(flow, arrow)


@dataclass(frozen=True, kw_only=True)
class Dawdles(Twin):
    """Never long, but at every call."""

    name = "twin-dawdles"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        time.sleep(0.4)
        return super().drag_area(flow, arrow)


@dataclass(frozen=True, kw_only=True)
class Works(Twin):
    """A minute of work, with failures of its own caught on the way."""

    name = "twin-works"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        end = time.monotonic() + MINUTE
        while time.monotonic() < end:
            try:
                np.linalg.inv(np.zeros((2, 2)))
            except Exception:
                continue
        return super().drag_area(flow, arrow)


@dataclass(frozen=True, kw_only=True)
class BuildsSlowly(Twin):
    """A constructor that takes as long as its parameter says."""

    name = "twin-builds-slowly"

    wait: float = parameter("Time to wait.", "time", default=0.0, low=0.0, high=MINUTE)

    def __post_init__(self) -> None:
        time.sleep(self.wait)


@dataclass(frozen=True, kw_only=True)
class NotesSlowly(Twin):
    """A minute of thought after the flight."""

    name = "twin-notes-slowly"

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        time.sleep(MINUTE)
        return ()


@dataclass(frozen=True, kw_only=True)
class Stubborn(Twin):
    """Whatever is raised, it goes on."""

    name = "twin-stubborn"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        end = time.monotonic() + MINUTE
        while time.monotonic() < end:
            try:
                time.sleep(MINUTE)
            except BaseException:
                continue
        return super().drag_area(flow, arrow)
