"""The lanes of a comparison: each launch model with each drag model, built and launched."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from arrowloft.api.comparing.members import KINDS, Labelled
from arrowloft.api.conditions import (
    air_of,
    forward_of_eye,
    gravity_of,
    lead_of_tip,
    light_arrow,
)
from arrowloft.api.problems import Fault, Problem, from_case, from_model_fault, from_parameter
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.setup import Setup, check_speed, drag_of, launch_of
from arrowloft.api.wording import shown
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.setup.equipment import Arrow, Bow
from arrowloft.core.setup.flow import DragLaw, Flow
from arrowloft.core.setup.laws import Kinks, LawsByLane
from arrowloft.plugin import CaseError, DragModel, LaunchCase, Note, ParameterError
from arrowloft.plugin.guard import ModelFault, guarded_kinks, guarded_uncertainty
from arrowloft.plugin.registry import Registry

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Lane:
    """One launch model with one drag model, by their positions and labels.

    setup: made ready; its notes are those of the launch model alone.
    """

    launch: int
    drag: int
    launch_label: str
    drag_label: str
    setup: Setup

    @property
    def case(self) -> LaunchCase:
        """What the launch model was asked."""
        setup = self.setup
        return LaunchCase(setup.bow, setup.arrow, setup.air, setup.law)

    @property
    def words(self) -> str:
        """The lane in a sentence."""
        return f"launch {shown(self.launch_label)} with drag {shown(self.drag_label)}"

    def flown_notes(self, airspeeds: tuple[float, float]) -> tuple[Note, ...]:
        """As `Setup.flown_notes`, with this lane's model to blame."""
        with Blaming(drag=(self.drag, self.drag_label)):
            return self.setup.flown_notes(airspeeds)


class Blaming:
    """Refusals and faults of models in its `with` are problems that point into their lists.

    models: kind -> position and label of the model that may be to blame.

    A class, as every call of a drag law enters it: a generator takes twice the time.
    """

    def __init__(self, **models: tuple[int, str]) -> None:
        self.models = models

    def __enter__(self) -> None:
        pass

    def __exit__(self, _: object, error: BaseException | None, __: object) -> None:
        if isinstance(error, Problem):
            raise self._told(error) from error
        if isinstance(error, ParameterError):
            raise self._told(from_parameter(error, "drag")) from error
        if isinstance(error, CaseError):
            raise self._told(from_case(error)) from error
        if isinstance(error, ModelFault):
            _log.error("a model failed", exc_info=error)
            raise self._told(from_model_fault(error)) from error

    def _told(self, problem: Problem) -> Problem:
        kinds = {_first(fault.pointer) for fault in problem.errors} & self.models.keys()
        # A member that they share does not tell which of them refused it.
        blamed = {kind: self.models[kind][1] for kind in self.models if not kinds or kind in kinds}
        faults = [
            Fault(self._into_list(f.pointer), _named(blamed, f.detail)) for f in problem.errors
        ]
        return Problem(problem.code, _named(blamed, problem.detail), faults, **problem.members)

    def _into_list(self, pointer: str) -> str:
        kind = _first(pointer)
        if kind not in self.models:
            return pointer
        member = next(name for name, of in KINDS.items() if of == kind)
        return f"/{member}/{self.models[kind][0]}" + pointer.removeprefix(f"/{kind}")


def _named(blamed: Mapping[str, str], text: str) -> str:
    """A sentence with the models' labels before it, unless it names them so already.

    blamed: kind -> label.
    """
    if all(f"{kind} model {label!r}" in text for kind, label in blamed.items()):
        return text
    words = " with ".join(f"{kind} {shown(label)}" for kind, label in blamed.items())
    return f"{words[:1].upper()}{words[1:]}: {text}"


def _first(pointer: str) -> str:
    """The first step of a JSON pointer."""
    return pointer.removeprefix("/").partition("/")[0]


class _Drag(NamedTuple):
    """A drag model made ready."""

    model: DragModel
    law: DragLaw
    kinks: Kinks
    uncertainty: float


@dataclass(frozen=True)
class Lanes:
    """All lanes, every launch model with each drag model in turn, and what they share.

    notes: of what they share.
    """

    lanes: tuple[Lane, ...]
    notes: tuple[Note, ...]
    drags: tuple[_Drag, ...]

    @classmethod
    def of(cls, asked: Mapping[str, Any], registry: Registry) -> "Lanes":
        """The lanes of a request that its schema has read.

        Raises Problem, which points at the model of the list that is to blame.
        """
        notes: list[Note] = []
        bow, arrow = Bow(**asked["bow"]), Arrow(**asked["arrow"])
        shared = {
            "units": ReplyUnits(asked.get("units", {})),
            "bow": bow,
            "arrow": arrow,
            "air": air_of(asked, notes),
            "gravity": gravity_of(asked, notes),
            "launch_forward": forward_of_eye(bow, arrow, notes),
            "tip_lead": lead_of_tip(arrow, notes),
        }
        drags = tuple(_drag(index, item, registry) for index, item in enumerate(asked["drags"]))
        lanes = tuple(
            _lane((launch, drag), asked, drags[drag], shared, registry)
            for launch in range(len(asked["launches"]))
            for drag in range(len(drags))
        )
        cautions = {
            note.code: note
            for lane in lanes
            for note in light_arrow(bow, arrow, lane.setup.launched)
        }
        return cls(lanes, (*notes, *cautions.values()), drags)

    def setups(self, asked: Mapping[str, Any]) -> Setups:
        """The lanes as the core takes them."""
        shot = (
            self.lanes[0]
            .setup.shot(asked)
            .with_(
                launch_speed=np.array([lane.setup.speed for lane in self.lanes]),
                drag=LawsByLane(
                    tuple(
                        _blamed(index, item.label, made.law)
                        for index, (item, made) in enumerate(
                            zip(asked["drags"], self.drags, strict=True)
                        )
                    ),
                    np.array([lane.drag for lane in self.lanes], dtype=np.intp),
                ),
            )
        )
        return Setups.of(shot, [item.kinks for item in self.drags])


def _drag(index: int, item: Labelled, registry: Registry) -> _Drag:
    with Blaming(drag=(index, item.label)):
        model, law = drag_of(item.chosen, registry)
        assert model is not None
        return _Drag(model, law, guarded_kinks(model), guarded_uncertainty(model))


def _lane(
    at: tuple[int, int],
    asked: Mapping[str, Any],
    drag: _Drag,
    shared: Mapping[str, Any],
    registry: Registry,
) -> Lane:
    """The lane of the launch and drag models at these positions."""
    launch, label = asked["launches"][at[0]], asked["drags"][at[1]].label
    with Blaming(launch=(at[0], launch.label), drag=(at[1], label)):
        case = LaunchCase(shared["bow"], shared["arrow"], shared["air"], drag.law)
        model, launched, notes = launch_of(launch.chosen, case, registry)
        setup = Setup(
            **shared,
            drag=drag.model,
            drag_uncertainty=drag.uncertainty,
            kinks=drag.kinks,
            law=drag.law,
            launch=model,
            launched=launched,
            notes=notes,
        )
        check_speed(setup)
    return Lane(*at, launch.label, label, setup)


def _blamed(index: int, label: str, law: DragLaw) -> DragLaw:
    """The law, whose refusals in the middle of a solve point into the list.

    Not for launch models: what the law raises within one must pass its guard as it is.
    """

    def blamed(flow: Flow, arrow: Arrow) -> Any:
        with Blaming(drag=(index, label)):
            return law(flow, arrow)

    return blamed
