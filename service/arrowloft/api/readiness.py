"""GET /readyz: whether the models are there and a flight comes out right, tried at each request.

The flights are the solver's own, as in every computation, with a drag law that belongs to the
self-test: an installed model that fails spoils its own replies, not the whole service. Nothing is
judged by the time that it takes: a slow machine is ready all the same.
"""

import logging
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from math import asin, cos

import numpy as np
from flask import Response

from arrowloft.api import replies
from arrowloft.api.echo import Replayable
from arrowloft.api.problems import Problem
from arrowloft.api.reply_schemas import many, number, part, text, whole
from arrowloft.api.resource import Edge, Resource
from arrowloft.api.schemas import Strict
from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import aim
from arrowloft.core.setup.air import air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import Flow, cross_section
from arrowloft.core.setup.gravity import STANDARD
from arrowloft.core.setup.shot import Shot
from arrowloft.plugin.registry import Registry

_log = logging.getLogger(__name__)

SPEED, DISTANCE = 85.0, 60.0
"""Launch speed, m/s, and distance, m, of both flights."""

STORED_ANGLE, STORED_TIME = 0.043629610332, 0.727331929706
"""Launch angle, rad, and time, s, of the flight with drag; an integrator of the tests agrees."""

ANGLE_TOLERANCE, TIME_TOLERANCE = 1e-8, 1e-6
"""The last digits that replies write, rad and s: far above what the solver leaves open."""


@dataclass(frozen=True, kw_only=True)
class Check:
    """One number of the self-test.

    found, expected, tolerance: in `unit`.
    """

    name: str
    unit: str
    found: float
    expected: float
    tolerance: float

    @property
    def holds(self) -> bool:
        """Whether it agrees; NaN never does."""
        return abs(self.found - self.expected) <= self.tolerance

    def __str__(self) -> str:
        return (
            f"the {self.name} is {self.found:.12g} {self.unit}, "
            f"not {self.expected:.12g} within {self.tolerance:g}"
        )


def self_test() -> list[Check]:
    """Two flights aimed side by side, one with everything, one in a vacuum; about 1 ms.

    The vacuum's is held against the parabola: sin 2a = g D / v^2, T = D / (v cos a).
    """
    aimed = aim(shot(), DISTANCE)
    angle = 0.5 * asin(STANDARD * DISTANCE / SPEED**2)
    time = DISTANCE / (SPEED * cos(angle))
    expected = (("with drag", STORED_ANGLE, STORED_TIME), ("in a vacuum", angle, time))
    return [
        check
        for lane, (where, *values) in enumerate(expected)
        for check in _checks(where, aimed.launch_angle[lane], aimed.time[lane], *values)
    ]


def shot() -> Shot:
    """The shots of both flights: uphill in an oblique wind, and as simple as can be."""
    surroundings, _ = air(temperature=290.0, pressure=98_000.0, relative_humidity=0.6)
    return Shot(
        launch_speed=SPEED,
        arrow=Arrow(mass=0.025, shaft_diameter=0.006),
        drag=_law,
        air=surroundings,
        peep_height=np.array([0.12, 0.0]),
        launch_forward=np.array([0.8, 0.0]),
        tip_lead=np.array([0.35, 0.0]),
        slope=np.array([0.15, 0.0]),
        wind_speed=np.array([4.0, 0.0]),
        wind_from=np.array([1.0, 0.0]),
        drag_scale=np.array([1.0, 0.0]),
        kinks=(),
    )


def _law(flow: Flow, arrow: Arrow) -> Array:
    """A drag law that depends on all that a law may depend on but the length."""
    coefficient = 1.2 + 150.0 / np.sqrt(flow.reynolds(float(arrow.shaft_diameter)))
    return np.asarray(cross_section(arrow) * coefficient)


def _checks(
    where: str, angle: float, time: float, expected_angle: float, expected_time: float
) -> Iterator[Check]:
    yield Check(
        name=f"launch angle {where}",
        unit="rad",
        found=float(angle),
        expected=expected_angle,
        tolerance=ANGLE_TOLERANCE,
    )
    yield Check(
        name=f"time of flight {where}",
        unit="s",
        found=float(time),
        expected=expected_time,
        tolerance=TIME_TOLERANCE,
    )


class CheckReply(Strict):
    """One number of the self-test."""

    name = text("What it is.")
    unit = text("Unit of its values.", enum=["rad", "s"])
    found = number("As computed for this reply.")
    expected = number("As stored, or as the closed form has it.")
    tolerance = number("How far apart they may be.")


class ModelCounts(Strict):
    """How many models are installed."""

    drag = whole("Drag models.")
    launch = whole("Launch-speed models.")


class Versions(Strict):
    """What computes."""

    arrowloft = text("Version of the service.")
    python = text("Version of Python.")
    numpy = text("Version of NumPy.")
    scipy = text("Version of SciPy.")
    machine = text("Kind of processor: it decides the last bits of a number.")


class Readiness(Strict):
    """The service computes, and rightly."""

    status = text("Always ready.", enum=["ready"])
    models = part(ModelCounts(), "How many models are installed.")
    self_test = many(CheckReply(), "Each number of the self-test.")
    versions = part(Versions(), "What computes.")


def resource(edge: Edge) -> Resource:
    """The resource."""
    counts = {kind: len(edge.registry.names(kind)) for kind in edge.registry.models}
    versions: Mapping[str, str] = Replayable.of(edge.registry).versions

    def view() -> Response:
        _require_models(edge.registry)
        checks = _passed()
        return replies.json_reply(
            {
                "status": "ready",
                "models": counts,
                "self_test": [asdict(check) for check in checks],
                "versions": versions,
            }
        )

    return Resource(
        path="/readyz",
        name="ready",
        summary="Whether the service computes rightly",
        description="Computes one flight with drag, which must agree with stored values, and one "
        "in a vacuum, which must agree with the closed form; anew for each reply, in about a "
        "millisecond. It needs no key.",
        view=view,
        reply=Readiness(),
        problems=("not-ready", "takes-too-long"),
        momentary=True,
    )


def _require_models(registry: Registry) -> None:
    missing = [kind for kind in registry.models if not registry.names(kind)]
    if missing:
        raise Problem("not-ready", f"No {' and no '.join(missing)} model is installed.")


def _passed() -> list[Check]:
    """The self-test, where all of it holds; raises Problem."""
    try:
        checks = self_test()
    except Exception as error:
        _log.error("the self-test failed", exc_info=error)
        raise Problem("not-ready", "The flights of the self-test cannot be computed.") from error
    wrong = [str(check) for check in checks if not check.holds]
    if wrong:
        said = "; ".join(wrong)
        _log.error("the self-test differs: %s", said)
        raise Problem("not-ready", f"In the self-test {said}.")
    return checks
