"""One block of a sweep, from numbers of set-ups to columns: the work that is shared out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import nan
from typing import Any, cast

import numpy as np

from arrowloft.api.blame import Blamed
from arrowloft.api.conditions import weathervane
from arrowloft.api.distances import pointer
from arrowloft.api.problems import Fault, Problem, from_case
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.shared import SPEEDS
from arrowloft.api.sweeping import contradictions, fitting_together
from arrowloft.api.sweeping.models import Instances, Source, Values, law_of
from arrowloft.api.sweeping.plan import Plan
from arrowloft.api.sweeping.states import air_of, gravity_of, light_arrows
from arrowloft.api.sweeping.validity import Left, left_by_drag, left_by_launch, said_by_drag
from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.flight.aim import nearest_aim
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow, Bow, launch_forward, tip_lead
from arrowloft.core.setup.flow import DragLaw
from arrowloft.core.setup.shot import Shot, as_lanes
from arrowloft.core.sweeping.flown import Flown, Pin, flown
from arrowloft.core.sweeping.lanes import some
from arrowloft.plugin import CaseError, DragModel, LaunchCase, LaunchModel, Note
from arrowloft.plugin.guard import guarded_launch
from arrowloft.plugin.registry import Registry


@dataclass(frozen=True, kw_only=True)
class Part:
    """What one block gave; it can be pickled, as a cluster hands it about.

    columns: name -> (set-ups * distances,), SI, NaN where a distance is not reached.
    reached: (set-ups * distances,), whether it is.  unsolved: points whose flight nothing
    follows.  zero_missed: set-ups whose zero distance is not reached.
    left: what left its range of validity, and how often.  light: set-ups whose arrow may harm
    the bow.  mass_known: whether that could be told.
    airspeeds: least and greatest flown, m/s; NaN where none arrived.
    error: greatest estimated error of a launch angle, rad.
    """

    columns: Mapping[str, Array]
    notes: tuple[Note, ...]
    left: tuple[Left, ...]
    light: int
    mass_known: bool
    reached: Mask
    unsolved: int
    zero_missed: int
    airspeeds: tuple[float, float]
    error: float


@dataclass(frozen=True)
class Sweep:
    """A plan and the models it is computed with."""

    plan: Plan
    registry: Registry

    @cached_property
    def drag(self) -> Source:
        """Where drag models come from."""
        return Source(self.registry, self.plan, "drag")

    @cached_property
    def launch(self) -> Source:
        """Where launch models come from."""
        return Source(self.registry, self.plan, "launch")

    def check(self) -> None:
        """Refuse what can be known to fail; raises ValidationError, Problem."""
        fitting_together.check(self.plan)
        for source in (self.drag, self.launch):
            contradictions.check(source)

    def part(self, index: int) -> Part:
        """One block.  Raises Problem, ModelFault."""
        start, stop = self.plan.blocks[index]
        lanes = self.plan.lanes(start, stop)
        try:
            return self._part(start, stop, lanes)
        except CaseError as error:
            raise from_case(error) from error

    def _part(self, start: int, stop: int, lanes: Values) -> Part:
        plan, count, notes = self.plan, stop - start, list[Note]()
        asked = plan.with_lanes(lanes)
        bow, arrow = Bow(**asked["bow"]), Arrow(**asked["arrow"])
        air = air_of(asked, notes)
        drags = self.drag.instances(start, stop, lanes)
        launches = self.launch.instances(start, stop, lanes)
        law, kinks = law_of(self.drag, drags, lanes)
        launched = self._launched(launches, LaunchCase(bow, arrow, air, law), count)
        self._check_speed(launched.speed)
        wind = asked.get("wind", {})
        shot = Shot(
            launch_speed=launched.speed,
            arrow=arrow,
            drag=law,
            air=air,
            peep_height=bow.peep_height,
            launch_forward=_or_zero(launch_forward(bow, arrow)),
            tip_lead=_or_zero(tip_lead(arrow)),
            gravity=gravity_of(asked),
            slope=asked.get("slope", 0.0),
            wind_speed=wind.get("speed", 0.0),
            wind_from=wind.get("from", 0.0),
        )
        pin = self._pin(asked)
        self._check_near(shot, pin)
        found = flown(shot, count, plan.distances, plan.quantities, kinks, pin)
        left, said = self._left(drags, shot, found, count)
        return Part(
            columns=found.columns,
            notes=merged([*notes, *launched.notes, *self._seen(shot, found), *said]),
            left=(*launched.left, *left),
            light=light_arrows(bow, arrow, count),
            mass_known=bow.draw_weight is not None or launched.peak_force,
            reached=found.reached,
            unsolved=int(np.count_nonzero(found.unsolved)),
            zero_missed=int(np.count_nonzero(found.zero_missed)),
            airspeeds=_flown_airspeeds(found),
            error=found.error,
        )

    def _launched(self, launches: Instances, case: LaunchCase, count: int) -> "_Launched":
        """Launch speeds, with what the models say of them."""
        mass = as_lanes(case.arrow.mass, count)
        case = LaunchCase(case.bow, _with_mass(case.arrow, mass), case.air, case.drag)
        speed = np.empty(count)
        result = _Launched(speed=speed)
        for model, lanes in launches.groups():
            launch = cast(LaunchModel, model)
            own = case if launches.which is None else _of_lanes(case, lanes)
            with Blamed("launch"):
                answer = guarded_launch(launch, own)
                result.left += left_by_launch(launch, own, answer, self.plan.distances.size)
            speed[lanes] = answer.speed
            result.notes += answer.notes
            result.peak_force |= "peak_force" in answer.figures
        return result

    def _pin(self, asked: Mapping[str, Any]) -> Pin | None:
        if self.plan.zero_distance is None:
            return None
        sight = asked["sight"]
        return Pin(sight["radius"], sight.get("zero_distance", self.plan.zero_distance))

    def _check_speed(self, speed: Array) -> None:
        low, high = SPEEDS
        bad = np.flatnonzero(~((speed >= low) & (speed <= high)))
        if not bad.size:
            return
        text = ReplyUnits(self.plan.asked.get("units", {})).text
        detail = (
            f"The launch model {self.launch.chosen.name!r} gives {text(speed[bad[0]], 'speed')} "
            f"for some set-up; flights are computed from {text(low, 'speed')} to "
            f"{text(high, 'speed')}: correct what it is given, or vary less."
        )
        raise Problem("model-cannot-answer", detail, (Fault("/launch", detail),))

    def _check_near(self, shot: Shot, pin: Pin | None) -> None:
        nearest = nearest_aim(shot)
        faults = [
            pointer(dict(self.plan.body), index)
            for index, distance in enumerate(self.plan.distances)
            if not np.all(distance >= nearest)
        ]
        if pin is not None and not np.all(pin.zero_distance >= nearest):
            faults.append("/sight/zero_distance")
        if faults:
            text = ReplyUnits(self.plan.asked.get("units", {})).text
            reaching = text(float(np.max(nearest)), "distance")
            detail = f"Too near: some arrow leaves the string reaching {reaching}. Ask for more."
            where = [Fault(fault, detail) for fault in dict.fromkeys(faults)]
            raise Problem("invalid-request", detail, where)

    def _seen(self, shot: Shot, found: Flown) -> tuple[Note, ...]:
        """What the columns themselves give rise to say."""
        if "drift" not in found.columns:
            return ()
        per = self.plan.distances.size
        speed, blows_from = (_each(v, per) for v in (shot.wind_speed, shot.wind_from))
        return tuple(weathervane(speed, blows_from, found.columns["drift"]))

    def _left(
        self, drags: Instances, shot: Shot, found: Flown, count: int
    ) -> tuple[tuple[Left, ...], tuple[Note, ...]]:
        """What left the ranges of the drag models, and what these say of the flights."""
        spread = np.array((found.least_airspeed, found.greatest_airspeed))
        spread = spread.reshape(2, count, self.plan.distances.size)
        left: tuple[Left, ...] = ()
        notes: tuple[Note, ...] = ()
        for model, lanes in drags.groups():
            drag = cast(DragModel, model)
            air, arrow = some(shot.air, lanes), some(shot.arrow, lanes)
            with Blamed("drag"):
                left += left_by_drag(drag, spread[:, lanes], air, arrow)
                launched = as_lanes(shot.launch_speed, count)[lanes]
                notes += said_by_drag(drag, spread[:, lanes], launched, air, arrow)
        return left, notes


@dataclass
class _Launched:
    """Launch speeds of a block, (set-ups,), and what the models say of them."""

    speed: Array
    notes: tuple[Note, ...] = ()
    left: tuple[Left, ...] = ()
    peak_force: bool = False


def _with_mass(arrow: Arrow, mass: Array) -> Arrow:
    """The arrow with a mass a lane, of which a launch speed takes its shape."""
    return Arrow(**{**vars(arrow), "mass": mass})


def _of_lanes(case: LaunchCase, lanes: Any) -> LaunchCase:
    law: DragLaw = case.drag.take(lanes) if hasattr(case.drag, "take") else case.drag
    air: Air = some(case.air, lanes)
    return LaunchCase(some(case.bow, lanes), some(case.arrow, lanes), air, law)


def _each(value: Real, times: int) -> Real:
    """A value of each set-up once for every distance."""
    return np.repeat(value, times) if isinstance(value, np.ndarray) else value


def _flown_airspeeds(found: Flown) -> tuple[float, float]:
    if not found.reached.any():
        return nan, nan
    return float(np.nanmin(found.least_airspeed)), float(np.nanmax(found.greatest_airspeed))


def _or_zero(derived: Real | None) -> Real:
    """0 for what cannot be derived, as the notes say."""
    return 0.0 if derived is None else derived


def merged(notes: Sequence[Note]) -> tuple[Note, ...]:
    """Each code once; where several said different things, as an example of them."""
    said: dict[str, dict[str, Note]] = {}
    for note in notes:
        said.setdefault(note.code, {}).setdefault(note.message, note)
    return tuple(_one_of(list(those.values())) for those in said.values())


def _one_of(notes: Sequence[Note]) -> Note:
    """The first of some notes, with a word that others differ: figures are those of some lanes."""
    first = notes[0]
    if len(notes) == 1 or first.message.startswith(_FOR_EXAMPLE):
        return first
    return Note(first.code, _FOR_EXAMPLE + first.message)


_FOR_EXAMPLE = "In some of the set-ups, for example: "
