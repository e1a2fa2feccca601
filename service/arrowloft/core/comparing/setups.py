"""Set-ups to be flown side by side, and their laws' kinks against the airspeeds they fly at."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.flight.geometry import arrow_line
from arrowloft.core.flight.motion import Forces
from arrowloft.core.setup.flow import Flow
from arrowloft.core.setup.laws import Kinks, LawsByLane
from arrowloft.core.setup.shot import Shot, as_lanes


@dataclass(frozen=True)
class Setups:
    """Shots side by side.

    shot: each number a float, or an array of one value a set-up; its `drag` has a law for
        each set-up, and its `kinks` play no part.
    kinks: of each law of the drag, as `Shot.kinks`.
    """

    shot: Shot
    kinks: tuple[Kinks, ...]

    @classmethod
    def of(cls, shot: Shot, kinks: Sequence[Kinks]) -> "Setups":
        """The set-ups, their launch speeds an array, which tells all how many there are.

        Raises TypeError unless the drag is a LawsByLane.
        """
        if not isinstance(shot.drag, LawsByLane):
            raise TypeError("the shot's drag must be a LawsByLane")
        speed = as_lanes(shot.launch_speed, shot.drag.which.size)
        return cls(shot.with_(launch_speed=speed, kinks=()), tuple(kinks))

    @property
    def count(self) -> int:
        """Number of set-ups."""
        return self.law_of.size

    @property
    def law_of(self) -> Lanes:
        """Position of each set-up's law, (set-ups,)."""
        assert isinstance(self.shot.drag, LawsByLane)
        return self.shot.drag.which

    def lanes(self, which: Lanes) -> Shot:
        """A lane for each position of a set-up, in that order."""
        if self.count > 1:
            return self.shot.take(which)
        # One set-up is not taken apart: it is spread here over as many lanes.
        drag, speed = self.shot.drag, self.shot.launch_speed
        assert isinstance(drag, LawsByLane)
        return self.shot.with_(
            drag=LawsByLane(drag.laws, np.repeat(drag.which, which.size)),
            launch_speed=np.repeat(speed, which.size),
        )

    def some(self, which: Lanes) -> "Setups":
        """The set-ups at these positions, each once."""
        return self if which.size == self.count else Setups(self.lanes(which), self.kinks)

    def kinks_known(self) -> Mask:
        """Whether each set-up's law says where its kinks are, (set-ups,)."""
        return np.array([self.kinks[law] is not None for law in self.law_of])

    def passes_kink(self, least: Array, greatest: Array) -> Mask:
        """Whether airspeeds between two, (set-ups,) each, m/s, pass a kink of the law."""
        low, high = self.reynolds(least), self.reynolds(greatest)
        return np.array(
            [
                any(low[each] < kink < high[each] for kink in self.kinks[law] or ())
                for each, law in enumerate(self.law_of)
            ]
        )

    def reynolds(self, airspeed: Array, which: Lanes | None = None) -> Array:
        """Reynolds number on the shaft diameter at an airspeed, m/s, of each set-up.

        airspeed: (..., set-ups), or (lanes,) with the set-up of each lane in `which`.
        """
        shot = self.shot if which is None else self.lanes(which)
        air = shot.air
        flow = Flow(airspeed, air.density, air.viscosity, air.speed_of_sound)
        return flow.reynolds(shot.arrow.shaft_diameter)

    def launch_airspeed(self, angle: Array, which: Lanes) -> Array:
        """Airspeed as the arrow leaves at a launch angle, rad, without yaw, m/s, (lanes,)."""
        shot = self.lanes(which)
        line = arrow_line(angle, 0.0, shot.roll)[0]
        return Forces(shot, 3).airspeed(shot.launch_speed * line)[1]
