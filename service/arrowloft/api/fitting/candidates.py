"""One candidate of a fit: its models built anew for every point that the fit looks at."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from arrowloft.api.fitting.measured import Measured
from arrowloft.api.fitting.model_member import Fitted
from arrowloft.api.fitting.unknowns import Unknown, unknowns_of
from arrowloft.api.shared import SPEEDS
from arrowloft.core.arrays import Array
from arrowloft.core.fitting.variants import Variants
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw
from arrowloft.core.setup.laws import Kinks
from arrowloft.plugin import DragModel, LaunchModel, LaunchSpeed, ParameterError
from arrowloft.plugin.guard import guarded_kinks, guarded_launch, guarded_law
from arrowloft.plugin.registry import Registry

_Key = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A drag and a launch model over the series; a `Family` of the core when called.

    launch: None: the launch speeds are unknowns of the series.
    arrow, air: the request's, for which drag coefficients are told.
    """

    registry: Registry
    label: str
    drag: Fitted
    launch: Fitted | None
    series: Sequence[Measured]
    unknowns: Sequence[Unknown]
    arrow: Arrow
    air: Air

    @classmethod
    def of(
        cls,
        registry: Registry,
        asked: Mapping[str, Any],
        label: str,
        series: Sequence[Measured],
        flown_by: tuple[Arrow, Air],
    ) -> "Candidate":
        """The candidate of a request's entry; flown_by: the request's arrow and air."""
        drag, launch = asked["drag"], asked.get("launch")
        of_launch = None if launch is None else (registry.get("launch", launch.name), launch)
        return cls(
            registry=registry,
            label=label,
            drag=drag,
            launch=launch,
            series=series,
            unknowns=unknowns_of((registry.get("drag", drag.name), drag), of_launch, series),
            arrow=flown_by[0],
            air=flown_by[1],
        )

    def drag_at(self, point: Array) -> DragModel:
        """The drag model with what the point (unknowns,) says of it."""
        return self.registry.build("drag", self.drag.name, self.parameters("drag", point))

    def launch_at(self, point: Array) -> LaunchModel:
        """The launch model likewise."""
        assert self.launch is not None
        return self.registry.build("launch", self.launch.name, self.parameters("launch", point))

    def parameters(self, kind: str, point: Array) -> dict[str, Any]:
        """All that the drag or the launch model is given at a point, SI; defaults left out."""
        fitted = self.drag if kind == "drag" else self.launch
        assert fitted is not None
        found = dict(fitted.parameters)
        for item, value in zip(self.unknowns, point.tolist(), strict=True):
            if item.of != kind:
                continue
            if item.element is None:
                found[item.name] = value
            else:
                values = list(found[item.name])
                values[item.element] = value
                found[item.name] = values
        return found

    def __call__(self, points: Array) -> Variants:
        """What the models make of points (unknowns, variants), SI.

        A point that a model refuses, or whose launch speed no flight is computed for, is
        not sound. Raises CaseError, ModelFault.
        """
        build = _Build(self)
        count, series = points.shape[1], len(self.series)
        which, sound = np.zeros(count, dtype=np.intp), np.zeros(count, dtype=bool)
        speed = np.full((series, count), SPEEDS[0])
        for variant, point in enumerate(points.T):
            try:
                which[variant], found = build.at(point)
            except ParameterError:
                continue
            speed[:, variant] = found
            sound[variant] = SPEEDS[0] <= found.min() and found.max() <= SPEEDS[1]
        return Variants(
            laws=tuple(build.laws),
            kinks=tuple(build.kinks),
            which=which,
            speed=speed,
            angle=self._of_series("launch_angle", points),
            yaw=self._of_series("yaw", points),
            clock=self._of_series("clock", points),
            sound=sound,
        )

    def _of_series(self, name: str, points: Array) -> Array:
        """A member of each series, given or unknown, (series, variants)."""
        given = np.array([item.asked.get(name, 0.0) for item in self.series])
        found = np.repeat(given[:, None], points.shape[1], axis=1)
        for item, values in zip(self.unknowns, points, strict=True):
            if item.of == "series" and item.name == name:
                found[list(item.series)] = values
        return found

    def own_speeds(self, point: Array) -> dict[int, float]:
        """Series whose launch speed is their own, given or unknown -> that speed, m/s."""
        found = {
            index: float(item.asked["launch_speed"])
            for index, item in enumerate(self.series)
            if "launch_speed" in item.asked
        }
        for item, value in zip(self.unknowns, point.tolist(), strict=True):
            if item.of == "series" and item.name == "launch_speed":
                found |= dict.fromkeys(item.series, value)
        return found


@dataclass
class _Build:
    """The models of one call: points that share parameters share what is made of them."""

    candidate: Candidate
    laws: list[DragLaw] = field(default_factory=list)
    kinks: list[Kinks] = field(default_factory=list)
    _known: dict[_Key, int] = field(default_factory=dict)
    _speeds: dict[tuple[_Key, _Key], list[LaunchSpeed]] = field(default_factory=dict)

    def at(self, point: Array) -> tuple[int, Array]:
        """Position of the point's law, and the launch speed of each series, m/s."""
        candidate = self.candidate
        law = self._law(point)
        speeds = np.empty(len(candidate.series))
        if candidate.launch is not None:
            speeds[:] = [launched.speed for launched in self._launched(point, law)]
        for index, own in candidate.own_speeds(point).items():
            speeds[index] = own
        return law, speeds

    def _law(self, point: Array) -> int:
        key = self._key("drag", point)
        if key not in self._known:
            model = self.candidate.drag_at(point)
            kinks = guarded_kinks(model)
            self.laws.append(guarded_law(model))
            self.kinks.append(kinks)
            self._known[key] = len(self.laws) - 1
        return self._known[key]

    def _launched(self, point: Array, law: int) -> list[LaunchSpeed]:
        key = self._key("drag", point), self._key("launch", point)
        if key not in self._speeds:
            model, cases = self.candidate.launch_at(point), {}
            for item in self.candidate.series:
                case = item.case(self.laws[law])
                if (item.arrow, item.air) not in cases:
                    cases[item.arrow, item.air] = guarded_launch(model, case)
            self._speeds[key] = [cases[item.arrow, item.air] for item in self.candidate.series]
        return self._speeds[key]

    def _key(self, kind: str, point: Array) -> _Key:
        return tuple(
            value
            for item, value in zip(self.candidate.unknowns, point.tolist(), strict=True)
            if item.of == kind
        )
