"""The models of a sweep: lanes of parameters in one, or several side by side."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, cast

import numpy as np

from arrowloft.api.blame import Blamed
from arrowloft.api.parameters import Chosen
from arrowloft.api.problems import Fault, Problem, from_parameter
from arrowloft.api.sweeping.plan import Kind, Plan, takes_lanes
from arrowloft.api.sweeping.varied import Varied
from arrowloft.api.wording import sentence
from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw, Flow
from arrowloft.core.setup.laws import Kinks, LawsByLane
from arrowloft.core.sweeping.lanes import LawOfLanes
from arrowloft.plugin import DragModel, ParameterError
from arrowloft.plugin.contract import Model
from arrowloft.plugin.guard import guarded_kinks, guarded_law
from arrowloft.plugin.registry import Registry

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
    kind: Kind

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
        return self.plan.varied_of(self.kind)

    @cached_property
    def by_lane(self) -> bool:
        """Whether one instance takes the lanes: the model does, and no list's element varies."""
        return takes_lanes(self.plan, self.kind, self.model.by_lane)

    def instances(self, start: int, stop: int, lanes: Values) -> Instances:
        """Those of the set-ups start to stop, whose varied values are `lanes`."""
        if not self.varied:
            return Instances(models=(self._alone,))
        own = {item.target.steps: lanes[item.target.steps] for item in self.varied}
        if self.by_lane:
            return Instances(models=(self.made(own),))
        _, first, which = np.unique(
            self._numbers(start, stop), return_index=True, return_inverse=True
        )
        models = tuple(
            self.made({steps: float(values[index]) for steps, values in own.items()})
            for index in first
        )
        return Instances(models=models, which=which.reshape(-1))

    def made(self, values: Mapping[tuple[str, ...], Any]) -> Model:
        """An instance with some parameters replaced, by a number each or by lanes."""
        with Blamed(self.kind):
            try:
                return self.build(values)
            except ParameterError as error:
                raise self.pointed(error) from error

    def build(self, values: Mapping[tuple[str, ...], Any]) -> Model:
        """The same; raises ParameterError where the values do not fit together."""
        return self.registry.build(self.kind, self.chosen.name, self._parameters(values))

    def pointed(self, error: ParameterError, where: str = "in some set-up") -> Problem:
        """The problem, at the varied member where the parameter is that.

        where: in which set-ups, as in "in 3 of 12 set-ups, such as speed 4 m/s".
        """
        if not self.varied:
            return from_parameter(error, self.kind)
        detail = sentence(
            f"{where}, the {self.kind} model {self.chosen.name!r} refuses {error.parameter}: "
            f"{error.message}"
        )
        named = [item for item in self.varied if item.target.steps[2] == error.parameter]
        place = (named or self.varied)[0].place
        return Problem("invalid-request", detail, (Fault(f"/vary/{place}", detail),))

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
    def _alone(self) -> Model:
        return self.made({})

    def _numbers(self, start: int, stop: int) -> Lanes:
        """The instance of each set-up, by its places on the model's axes and its draw."""
        places, draw = self.plan.grid.places(start, stop)
        own = [
            places[index]
            for index, axis in enumerate(self.plan.axes)
            if axis.target.steps[0] == self.kind
        ]
        sets = self.plan.sets(self.kind)
        number: Lanes = np.zeros(stop - start, dtype=np.intp)
        for place, count in zip(own, sets.counts, strict=True):
            number = number * count + place
        return number if sets.samples == 1 else number * sets.samples + draw


def law_of(
    source: Source, instances: Instances, lanes: Values
) -> tuple[DragLaw, tuple[Kinks, ...]]:
    """The drag law of a block, and the kinks of each law in it."""
    models = cast(tuple[DragModel, ...], instances.models)
    if instances.which is not None:
        laws = tuple(_blamed(source, guarded_law(model)) for model in models)
        return LawsByLane(laws, instances.which), tuple(map(guarded_kinks, models))
    if not source.varied:
        return _blamed(source, guarded_law(models[0])), (guarded_kinks(models[0]),)
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
