"""The models of a sweep: lanes of parameters in one, or several side by side."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal, cast

import numpy as np

from arrowloft.api.blame import Blamed
from arrowloft.api.parameters import Chosen
from arrowloft.api.problems import Fault, Problem, from_parameter
from arrowloft.api.sweeping.plan import Plan
from arrowloft.api.sweeping.varied import Axis, Varied
from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw, Flow
from arrowloft.core.setup.laws import Kinks, LawsByLane
from arrowloft.core.sweeping.grid import Grid
from arrowloft.core.sweeping.lanes import LawOfLanes
from arrowloft.plugin import DragModel, ParameterError
from arrowloft.plugin.contract import Model
from arrowloft.plugin.guard import guarded_kinks, guarded_law
from arrowloft.plugin.registry import Registry

MOST_INSTANCES = 300
"""Instances of a model that are kept side by side: each is asked by itself, at every step."""

MOST_KINKS = 8
"""Most kinks at which flights are split; of more the solver is told that it must look itself."""

Values = Mapping[tuple[str, ...], Array]


@dataclass(frozen=True, kw_only=True)
class Instances:
    """A block's instances of one model.

    models: one, of lanes of parameters or of none; or several.  which: (lanes,), the model of
    each lane; None: all have the one.
    """

    models: tuple[Model, ...]
    which: Lanes | None = None

    def groups(self) -> Iterator[tuple[Model, Any]]:
        """Each model that has lanes, with them."""
        if self.which is None:
            yield self.models[0], slice(None)
            return
        for index in np.unique(self.which):
            yield self.models[index], np.flatnonzero(self.which == index)


@dataclass(frozen=True)
class Source:
    """Where the instances of one kind come from, block by block."""

    registry: Registry
    plan: Plan
    kind: Literal["drag", "launch"]

    @property
    def chosen(self) -> Chosen:
        """The model as the request chose it."""
        return cast(Chosen, self.plan.asked[self.kind])

    @cached_property
    def model(self) -> type[Model]:
        """The model's class."""
        return self.registry.get(self.kind, self.chosen.name)

    @cached_property
    def varied(self) -> tuple[Varied, ...]:
        """What is varied of the model's parameters."""
        return tuple(v for v in self.plan.varied if v.target.steps[0] == self.kind)

    @cached_property
    def by_lane(self) -> bool:
        """Whether one instance takes the lanes: the model does, and no list's element varies."""
        return self.model.by_lane and all(len(item.target.steps) == 3 for item in self.varied)

    def instances(self, start: int, stop: int, lanes: Values) -> Instances:
        """Those of the set-ups start to stop, whose varied values are `lanes`."""
        if not self.varied:
            return Instances(models=(self._alone,))
        if self.by_lane:
            values = {item.target.steps: lanes[item.target.steps] for item in self.varied}
            return Instances(models=(self.made(values),))
        return Instances(models=self._side_by_side, which=self._numbers(start, stop))

    def made(self, values: Mapping[tuple[str, ...], Any]) -> Model:
        """An instance with some parameters replaced, by a number each or by lanes."""
        with Blamed(self.kind):
            try:
                return self.registry.build(self.kind, self.chosen.name, self._parameters(values))
            except ParameterError as error:
                raise self.pointed(error) from error

    def check(self) -> None:
        """Refuse more instances side by side than can be; raises Problem."""
        if self.varied and not self.by_lane:
            count = self._radix.setups
            if count > MOST_INSTANCES:
                detail = (
                    f"{self.chosen.name!r} is asked with {count} sets of parameters, and takes "
                    f"one at a time, {MOST_INSTANCES} at most: give fewer values, or draw "
                    "nothing of it."
                )
                raise Problem("invalid-request", detail, (self._fault(detail),))
            _ = self._side_by_side

    def _fault(self, detail: str) -> Fault:
        return Fault(f"/vary/{self.varied[0].place}", detail)

    def pointed(self, error: ParameterError) -> Problem:
        """The problem, at the varied member where the parameter is that."""
        problem = from_parameter(error, self.kind)
        for item in self.varied:
            if item.target.steps[2] == error.parameter:
                where = Fault(f"/vary/{item.place}", problem.detail)
                return Problem(problem.code, problem.detail, (where,))
        return problem

    def _parameters(self, values: Mapping[tuple[str, ...], Any]) -> dict[str, Any]:
        parameters = dict(self.chosen.parameters)
        for (_, _, name, *element), value in values.items():
            if element:
                parameters[name] = list(parameters[name])
                parameters[name][int(element[0])] = value
            else:
                parameters[name] = value
        return parameters

    @cached_property
    def kinks(self) -> tuple[Kinks, ...]:
        """Of each instance of a drag model that takes no lanes, or of which nothing varies."""
        models = self._side_by_side if self.varied else (self._alone,)
        return tuple(guarded_kinks(cast(DragModel, model)) for model in models)

    @cached_property
    def _alone(self) -> Model:
        return self.made({})

    @cached_property
    def _radix(self) -> Grid:
        """Grid of the model's own axes; drawn parameters differ with every draw."""
        drawn = any(not isinstance(item, Axis) for item in self.varied)
        counts = tuple(item.count for item in self.varied if isinstance(item, Axis))
        return Grid(counts, self.plan.grid.samples if drawn else 1)

    def _numbers(self, start: int, stop: int) -> Lanes:
        """The instance of each set-up, by its places on the model's axes and its draw."""
        places, draw = self.plan.grid.places(start, stop)
        own = [
            places[index]
            for index, axis in enumerate(self.plan.axes)
            if axis.target.steps[0] == self.kind
        ]
        number: Lanes = np.zeros(stop - start, dtype=np.intp)
        for place, count in zip(own, self._radix.counts, strict=True):
            number = number * count + place
        return number if self._radix.samples == 1 else number * self._radix.samples + draw

    @cached_property
    def _side_by_side(self) -> tuple[Model, ...]:
        grid = self._radix
        places, draw = grid.places(0, grid.setups)
        which = iter(places)
        values: dict[tuple[str, ...], Array] = {}
        for item in self.varied:
            if isinstance(item, Axis):
                values[item.target.steps] = item.at(next(which))
            else:
                assert self.plan.seed is not None
                drawn = item.drawn(self.plan.seed, 0, grid.samples)
                values[item.target.steps] = drawn[draw]
        return tuple(
            self.made({steps: float(value[index]) for steps, value in values.items()})
            for index in range(grid.setups)
        )


def law_of(
    source: Source, instances: Instances, lanes: Values
) -> tuple[DragLaw, tuple[Kinks, ...]]:
    """The drag law of a block, and the kinks of each law in it."""
    models = cast(tuple[DragModel, ...], instances.models)
    if instances.which is not None:
        laws = tuple(_blamed(source, guarded_law(model)) for model in models)
        return LawsByLane(laws, instances.which), source.kinks
    if not source.varied:
        return _blamed(source, guarded_law(models[0])), source.kinks
    count = next(iter(lanes.values())).size

    def taken(which: Lanes) -> DragLaw:
        if which.size == count and (which == np.arange(count)).all():
            model = models[0]
        else:
            values = {v.target.steps: lanes[v.target.steps][which] for v in source.varied}
            model = cast(DragModel, source.made(values))
        return _blamed(source, guarded_law(model))

    kinks = guarded_kinks(models[0])  # of all lanes together
    if kinks is not None and len(kinks) > MOST_KINKS:
        kinks = None
    return LawOfLanes.all(count, taken), (kinks,)


def _blamed(source: Source, law: DragLaw) -> DragLaw:
    """The law, whose refusals in the middle of a solve point at the request."""

    def with_pointer(flow: Flow, arrow: Arrow) -> Any:
        try:
            return law(flow, arrow)
        except ParameterError as error:
            raise source.pointed(error) from error

    return with_pointer
