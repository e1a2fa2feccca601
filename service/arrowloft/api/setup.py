"""From a checked request to a shot: air, gravity, models, derived lengths, and what to tell."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from arrowloft import __version__
from arrowloft.api.blame import Blamed
from arrowloft.api.conditions import (
    LIGHT_ARROW,
    air_of,
    forward_of_eye,
    gravity_of,
    lead_of_tip,
    light_arrow,
)
from arrowloft.api.parameters import Chosen
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import ReplyUnits, significant, sources_reply
from arrowloft.api.shared import SPEEDS
from arrowloft.api.unknown_launch import UnknownLaunch
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow, Bow
from arrowloft.core.setup.flow import DragLaw, Flow
from arrowloft.core.setup.shot import Shot
from arrowloft.plugin import (
    CaseError,
    DragModel,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
)
from arrowloft.plugin.guard import (
    guarded_drag_notes,
    guarded_kinks,
    guarded_launch,
    guarded_launch_notes,
    guarded_law,
    guarded_uncertainty,
)
from arrowloft.plugin.registry import Registry

AIM_NOT_SAFETY = Note(
    "aim-not-safety",
    "These figures are for aiming, not for safety: keep to the rules of your ground, your "
    "governing body and local law.",
)


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One request made ready: models built, speed known, what the reply says of all that."""

    units: ReplyUnits
    bow: Bow
    arrow: Arrow
    air: Air
    gravity: float
    drag: DragModel | None
    drag_uncertainty: float
    kinks: tuple[float, ...] | None
    law: DragLaw
    launch: LaunchModel
    launched: LaunchSpeed
    launch_forward: float
    tip_lead: float
    notes: tuple[Note, ...] = field(default=())

    @property
    def speed(self) -> float:
        """Launch speed, m/s."""
        return float(self.launched.speed)

    @property
    def speed_uncertainty(self) -> float:
        """Standard uncertainty of the launch speed, m/s."""
        return float(self.launched.standard_uncertainty)

    def shot(self, request: Mapping[str, Any]) -> Shot:
        """The shot, with the request's slope and wind."""
        wind = request.get("wind", {})
        return Shot(
            launch_speed=self.speed,
            arrow=self.arrow,
            drag=self.law,
            air=self.air,
            peep_height=self.bow.peep_height,
            launch_forward=self.launch_forward,
            tip_lead=self.tip_lead,
            gravity=self.gravity,
            slope=request.get("slope", 0.0),
            wind_speed=wind.get("speed", 0.0),
            wind_from=wind.get("from", 0.0),
            kinks=self.kinks,
        )

    def flown_notes(self, airspeeds: tuple[float, float]) -> tuple[Note, ...]:
        """What the drag model says of the least and the greatest airspeed flown."""
        if self.drag is None:
            return ()
        flow = Flow(
            np.array(airspeeds, dtype=float),
            self.air.density,
            self.air.viscosity,
            self.air.speed_of_sound,
        )
        with Blamed("drag"):
            return guarded_drag_notes(self.drag, flow, self.arrow)

    def reply(self, own: Mapping[str, Any], notes: Sequence[Note] = ()) -> dict[str, Any]:
        """A reply: the computation's own members, then those that every reply has.

        notes: the computation's own, the worst of them foremost; only an arrow that may break
            the bow comes before them.
        """
        body = dict(own)
        body["notes"] = notes_reply((*notes, *self.notes))
        body["launch"] = self.launch_reply()
        if self.drag is not None:
            body["drag"] = self.drag_reply()
        return body | self.conditions_reply()

    def conditions_reply(self) -> dict[str, Any]:
        """What every reply says of air, gravity, units and service."""
        return {
            "air": self._air_reply(),
            "gravity": significant(self.gravity, 9),
            "units": self.units.chosen,
            "service": {"name": "arrowloft", "version": __version__},
        }

    def drag_reply(self) -> dict[str, Any]:
        """The drag as resolved; there must be one."""
        assert self.drag is not None
        return {
            "model": self.drag.name,
            "version": self.drag.version,
            "relative_uncertainty": significant(self.drag_uncertainty),
            "sources": sources_reply(self.drag.sources),
        }

    def launch_reply(self) -> dict[str, Any]:
        """The launch as resolved."""
        value = self.units.value
        return {
            "model": self.launch.name,
            "version": self.launch.version,
            "speed": value(self.speed, "speed"),
            "standard_uncertainty": value(self.speed_uncertainty, "speed"),
            "launch_forward": value(self.launch_forward, "length"),
            "tip_lead": value(self.tip_lead, "length"),
            "figures": {
                name: {
                    "value": value(si, dimension),
                    "unit": self.units.chosen.get(dimension, ""),
                }
                for name, (si, dimension) in self.launched.figures.items()
            },
            "sources": sources_reply(self.launch.sources),
        }

    def _air_reply(self) -> dict[str, float]:
        value = self.units.value
        return {
            "temperature": value(self.air.temperature, "temperature"),
            "pressure": value(self.air.pressure, "pressure"),
            "relative_humidity": value(self.air.relative_humidity, "number"),
            "density": value(self.air.density, "density"),
            "viscosity": value(self.air.viscosity, "viscosity"),
            "speed_of_sound": value(self.air.speed_of_sound, "speed"),
        }


def notes_reply(notes: Sequence[Note]) -> list[dict[str, str]]:
    """Notes as a reply lists them, with the one that every reply has as the last.

    An arrow that may break the bow comes first.
    """
    told = sorted((*notes, AIM_NOT_SAFETY), key=lambda note: note.code != LIGHT_ARROW)
    return [{"code": note.code, "message": note.message} for note in told]


def resolve(request: Mapping[str, Any], registry: Registry) -> Setup:
    """Everything a computation needs, from a request that its schema has read.

    Raises Problem, ModelFault.
    """
    notes: list[Note] = []
    bow, arrow = Bow(**request["bow"]), Arrow(**request["arrow"])
    state = air_of(request, notes)
    gravity = gravity_of(request, notes)
    drag, law = drag_of(request.get("drag"), registry)
    launch, launched, launch_notes = launch_of(
        request.get("launch"), LaunchCase(bow, arrow, state, law), registry
    )
    notes += launch_notes
    setup = Setup(
        units=ReplyUnits(request.get("units", {})),
        bow=bow,
        arrow=arrow,
        air=state,
        gravity=gravity,
        drag=drag,
        drag_uncertainty=0.0 if drag is None else guarded_uncertainty(drag),
        kinks=() if drag is None else guarded_kinks(drag),
        law=law,
        launch=launch,
        launched=launched,
        launch_forward=forward_of_eye(bow, arrow, notes),
        tip_lead=lead_of_tip(arrow, notes),
        notes=tuple(notes + light_arrow(bow, arrow, launched)),
    )
    check_speed(setup)
    return setup


def _no_drag_chosen(flow: Flow, arrow: Arrow) -> Any:
    raise CaseError(
        "drag",
        "This launch model undoes a flight through air: choose a drag model in `drag`.",
    )


def drag_of(chosen: Chosen | None, registry: Registry) -> tuple[DragModel | None, DragLaw]:
    """The drag model built, and its law, guarded.

    Raises Problem, ModelFault, and so does the law.
    """
    if chosen is None:
        return None, _no_drag_chosen
    with Blamed("drag"):
        model = registry.build("drag", chosen.name, chosen.parameters)
    return model, guarded_law(model)


def launch_of(
    chosen: Chosen | None, case: LaunchCase, registry: Registry
) -> tuple[LaunchModel, LaunchSpeed, tuple[Note, ...]]:
    """The launch model built, its speed for the case, and the notes on it.

    Raises Problem, ModelFault.
    """
    if chosen is None:
        unknown = UnknownLaunch()
        launched = unknown.launch_speed(case)
        return unknown, launched, launched.notes
    with Blamed("launch"):
        model = registry.build("launch", chosen.name, chosen.parameters)
        launched = guarded_launch(model, case)
        return model, launched, guarded_launch_notes(model, case, launched)


def check_speed(setup: Setup) -> None:
    """Raise Problem unless flights are computed at the launch speed."""
    low, high = SPEEDS
    if low <= setup.speed <= high:
        return
    text = setup.units.text
    detail = (
        f"The launch model {setup.launch.name!r} gives {text(setup.speed, 'speed')}; flights are "
        f"computed from {text(low, 'speed')} to {text(high, 'speed')}: correct what it is given."
    )
    raise Problem("model-cannot-answer", detail, (Fault("/launch", detail),))
