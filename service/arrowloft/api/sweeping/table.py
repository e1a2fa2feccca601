"""The whole of a sweep: its blocks put together, and what its samples have in common."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from arrowloft.api.conditions import air_of, forward_of_eye, gravity_of, lead_of_tip, light_arrow
from arrowloft.api.setup import AIM_NOT_SAFETY
from arrowloft.api.sight.sights import zero_distance
from arrowloft.api.sweeping.block import Part, Sweep, merged
from arrowloft.api.sweeping.plan import Plan, quantile_name
from arrowloft.api.sweeping.states import light_note
from arrowloft.api.sweeping.validity import Left, added
from arrowloft.core.arrays import Array, Mask
from arrowloft.core.setup.equipment import Arrow, Bow
from arrowloft.core.sweeping.summary import summarised
from arrowloft.plugin import Note

DIMENSIONS: Mapping[str, str] = {
    "distance": "distance",
    "launch_speed": "speed",
    "launch_angle": "angle",
    "travel": "length",
    "time": "time",
    "speed": "speed",
    "energy": "energy",
    "momentum": "momentum",
    "apex_height": "length",
    "apex_distance": "distance",
    "descent_angle": "angle",
    "drift": "length",
}
"""Column -> dimension, as in the mark table."""


@dataclass(frozen=True)
class Series:
    """One column: name, dimension, SI values; given: as the request has them, else computed."""

    name: str
    dimension: str
    values: Array
    given: bool = False
    whole: bool = False


@dataclass(frozen=True)
class Table:
    """A sweep computed.

    sweep: what was asked.  columns, reached: of `Part`, of all rows.  left, airspeeds, error: of
    all blocks.  beyond, unsolved: points.  zero_missed: set-ups.
    """

    sweep: Sweep
    columns: Mapping[str, Array]
    reached: Mask
    notes: tuple[Note, ...]
    left: tuple[Left, ...]
    beyond: int
    unsolved: int
    zero_missed: int
    airspeeds: tuple[float, float] | None
    error: float

    @property
    def plan(self) -> Plan:
        """What was asked."""
        return self.sweep.plan

    @cached_property
    def main(self) -> tuple[Series, ...]:
        """The one table of forms that hold one: every row where that is wanted."""
        return self.rows if self.plan.rows else self.summary

    @cached_property
    def rows(self) -> tuple[Series, ...]:
        """Every row: the varied members by their pointers, draw, distance, what was wanted."""
        plan = self.plan
        per = plan.distances.size
        lanes = plan.lanes(0, plan.grid.setups)
        varied = [
            Series(
                v.target.pointer, v.target.dimension, np.repeat(lanes[v.target.steps], per), True
            )
            for v in plan.varied
        ]
        sample = []
        if plan.sampled:
            draw = np.repeat(plan.grid.places(0, plan.grid.setups)[1], per).astype(float)
            sample = [Series("sample", "number", draw, True, whole=True)]
        distance = np.tile(plan.distances, plan.grid.setups)
        return (
            *varied,
            *sample,
            Series("distance", "distance", distance),
            *(Series(name, DIMENSIONS[name], self.columns[name]) for name in plan.quantities),
        )

    @cached_property
    def summary(self) -> tuple[Series, ...]:
        """Of a sampled sweep: a row for each point of the grid and distance; else nothing."""
        plan = self.plan
        if not plan.sampled:
            return ()
        per, points = plan.distances.size, plan.grid.points
        lanes = plan.lanes_of_points()
        axes = [
            Series(
                a.target.pointer, a.target.dimension, np.repeat(lanes[a.target.steps], per), True
            )
            for a in plan.axes
        ]
        found: list[Series] = []
        arrived = self.reached.reshape(points, plan.grid.samples, per).sum(axis=1).ravel()
        for name in plan.quantities:
            # (points, samples, distances) -> (samples, points * distances)
            samples = self.columns[name].reshape(points, plan.grid.samples, per)
            of_points = np.moveaxis(samples, 1, 0).reshape(plan.grid.samples, points * per)
            summary = summarised(of_points, plan.quantiles)
            kind = DIMENSIONS[name]
            found.append(Series(f"{name}.mean", kind, summary.mean))
            found.append(Series(f"{name}.standard_deviation", kind, summary.standard_deviation))
            found += [
                Series(f"{name}.{quantile_name(probability)}", kind, values)
                for probability, values in zip(plan.quantiles, summary.quantiles, strict=True)
            ]
        return (
            *axes,
            Series("distance", "distance", np.tile(plan.distances, points)),
            Series("arrived", "number", arrived.astype(float), True, whole=True),
            *found,
        )


def computed(sweep: Sweep, parts: Iterable[Part] | None = None) -> Table:
    """The sweep, from its parts in their order; computed here where none are given."""
    sweep.check()
    blocks = range(len(sweep.plan.blocks))
    found = list(map(sweep.part, blocks) if parts is None else parts)
    columns = {
        name: np.concatenate([part.columns[name] for part in found])
        for name in sweep.plan.quantities
    }
    reached = np.concatenate([part.reached for part in found])
    unsolved = sum(part.unsolved for part in found)
    beyond = int(np.count_nonzero(~reached)) - unsolved
    flown = [part.airspeeds for part in found if part.airspeeds[0] == part.airspeeds[0]]
    zero_missed = sum(part.zero_missed for part in found)
    left = added(one for part in found for one in part.left)
    return Table(
        sweep=sweep,
        columns=columns,
        reached=reached,
        notes=(
            *_counted(sweep.plan, found, beyond, unsolved, zero_missed),
            *_said(sweep.plan, found, left),
        ),
        left=left,
        beyond=beyond,
        unsolved=unsolved,
        zero_missed=zero_missed,
        airspeeds=(min(low for low, _ in flown), max(high for _, high in flown)) if flown else None,
        error=max(part.error for part in found),
    )


def _counted(
    plan: Plan, parts: Sequence[Part], beyond: int, unsolved: int, zero_missed: int
) -> list[Note]:
    """The worst foremost: arrows that may harm the bow, then what has no answer."""
    notes = list[Note]()
    light = sum(part.light for part in parts)
    if light:
        notes.append(light_note(light, plan.grid.setups))
    no_sample = "null, and no sample of a mean or quantile."
    if beyond:
        notes.append(
            Note(
                "beyond-reach",
                f"In {beyond} of {plan.points} points the distance is beyond reach: their values "
                f"are {no_sample}",
            )
        )
    if zero_missed:
        notes.append(
            Note(
                "zero-beyond-reach",
                f"In {zero_missed} of {plan.grid.setups} set-ups the sight's zero distance is "
                f"not reached, so that no travel counts from it: it is {no_sample}",
            )
        )
    if unsolved:
        notes.append(
            Note(
                "flights-not-followed",
                f"In {unsolved} of {plan.points} points the flight cannot be followed, as its "
                "drag or its speed describes an arrow that hardly flies, or changes too "
                f"abruptly: their values are {no_sample}",
            )
        )
    return notes


def _said(plan: Plan, parts: Sequence[Part], left: Sequence[Left]) -> list[Note]:
    """Ranges left, what models said, and what had to be assumed."""
    asked = plan.asked
    bow, arrow = Bow(**asked["bow"]), Arrow(**asked["arrow"])
    rest = [note for part in parts for note in part.notes]
    if plan.zero_distance is not None:
        zero_distance(asked, rest)
    assumed: list[Note] = []
    air_of(asked, assumed)
    # What is said of all set-ups stands for what would be said of the first alone.
    rest += [note for note in assumed if note.code not in {one.code for one in rest}]
    gravity_of(asked, rest)
    forward_of_eye(bow, arrow, rest)
    lead_of_tip(arrow, rest)
    if not parts[0].mass_known:
        rest += light_arrow(bow, arrow)
    return [*(one.note(plan.points) for one in left), *merged(rest), AIM_NOT_SAFETY]
