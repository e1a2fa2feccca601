"""Launch models that keep the contract until they are asked."""

import time
from dataclasses import dataclass

import numpy as np

from arrowloft.plugin import LaunchCase, LaunchModel, LaunchSpeed, Source

MINUTE = 60.0


@dataclass(frozen=True, kw_only=True)
class Twin(LaunchModel):
    """70 m/s, until a twin goes wrong."""

    version = "1"
    sources = (Source("Invented for these tests", "derived"),)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        return LaunchSpeed(70.0, 0.5)


@dataclass(frozen=True, kw_only=True)
class Nan(Twin):
    """Not a speed."""

    name = "twin-nan"

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        return LaunchSpeed(float("nan"), 0.5)


@dataclass(frozen=True, kw_only=True)
class Shape(Twin):
    """Two speeds for one arrow."""

    name = "twin-shape"

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        return LaunchSpeed(np.array([70.0, 71.0]), np.array([0.5, 0.5]))


@dataclass(frozen=True, kw_only=True)
class Raises(Twin):
    """An exception."""

    name = "twin-raises"

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        raise KeyError("a secret of the stranger's")


@dataclass(frozen=True, kw_only=True)
class WritesBow(Twin):
    """Changes the bow that it is shown."""

    name = "twin-writes-bow"

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        case.bow.peep_height = 0.0  # type: ignore[misc]
        return super().launch_speed(case)


@dataclass(frozen=True, kw_only=True)
class Sleeps(Twin):
    """A minute for every answer."""

    name = "twin-sleeps"

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        time.sleep(MINUTE)
        return super().launch_speed(case)


@dataclass(frozen=True, kw_only=True)
class Namesake(Twin):
    """Sound; a slow drag model has its name."""

    name = "twin-dawdles"
