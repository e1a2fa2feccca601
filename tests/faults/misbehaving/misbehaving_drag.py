"""A stranger's drag models, each of which does harm in its own way once it is asked."""

import collections
import itertools
import os
import signal
from dataclasses import dataclass

import numpy as np

from arrowloft.plugin import Array, Arrow, DragModel, Flow, Source

AREA = 4e-5
_hoard: list[np.ndarray] = []


@dataclass(frozen=True, kw_only=True)
class Harmful(DragModel):
    """A constant drag area, until harm is done."""

    version = "1"
    sources = (Source("Invented for these trials", "derived"),)
    default_uncertainty = 0.1

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        self.harm(flow)
        return np.full(flow.airspeed.shape, AREA)

    def harm(self, flow: Flow) -> None:
        """Nothing."""


@dataclass(frozen=True, kw_only=True)
class Raises(Harmful):
    """An exception."""

    name = "harm-raises"

    def harm(self, flow: Flow) -> None:
        raise RuntimeError("a secret of the stranger's")


@dataclass(frozen=True, kw_only=True)
class Recurses(Harmful):
    """Calls itself without end."""

    name = "harm-recurses"

    def harm(self, flow: Flow) -> None:
        self.harm(flow)


@dataclass(frozen=True, kw_only=True)
class NoNumber(Harmful):
    """NaN."""

    name = "harm-nan"

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return np.full(flow.airspeed.shape, np.nan)


@dataclass(frozen=True, kw_only=True)
class Mutates(Harmful):
    """Writes into what it was given."""

    name = "harm-mutates"

    def harm(self, flow: Flow) -> None:
        flow.airspeed[...] = 1.0


@dataclass(frozen=True, kw_only=True)
class MutatesByForce(Harmful):
    """Makes what it was given writeable first."""

    name = "harm-mutates-by-force"

    def harm(self, flow: Flow) -> None:
        flow.airspeed.flags.writeable = True
        flow.airspeed[...] = 1.0


@dataclass(frozen=True, kw_only=True)
class HangsInPython(Harmful):
    """Goes round and round."""

    name = "harm-hangs-in-python"

    def harm(self, flow: Flow) -> None:
        while True:
            pass


@dataclass(frozen=True, kw_only=True)
class HangsInC(Harmful):
    """Hands control to code in C that looks at no signal for hours."""

    name = "harm-hangs-in-c"

    def harm(self, flow: Flow) -> None:
        collections.deque(itertools.repeat(None, 10**13), maxlen=0)


@dataclass(frozen=True, kw_only=True)
class Crashes(Harmful):
    """Takes its process with it."""

    name = "harm-crashes"

    def harm(self, flow: Flow) -> None:
        os.kill(os.getpid(), signal.SIGSEGV)


@dataclass(frozen=True, kw_only=True)
class Leaks(Harmful):
    """Keeps a few kilobytes more with every call."""

    name = "harm-leaks"

    def harm(self, flow: Flow) -> None:
        _hoard.append(np.ones(4096))
