"""POST /v1/pin-spans: one fixed pin for many distances, and where to place a few pins."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from flask import Response, request
from marshmallow import ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.sight.pin_members import SHORTEST, check_together, pin_members, pin_reply_schema
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.api.spans import span, spans
from arrowloft.core.flight.aim import aim, require_ahead
from arrowloft.core.flight.motion import sideways
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.pin_plan import CloseToReach, PinPlan, Service, best_pins
from arrowloft.core.sight.pins import PinSpans, pin_spans, searched
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import Note

_PERFECT = Note(
    "span-of-perfect-shots",
    "A span is that of an arrow aimed and loosed without fault: your own group, the wind and what "
    "you misjudge of the distance need room in the zone as well. Whether a shot may be taken at "
    "all, and how far, your governing body, the rules of your ground and local law decide.",
)
_HEIGHT_ONLY = Note(
    "drift-left-out",
    "Only heights are held against the zone: what the wind carries the arrow aside is left out.",
)
_RISING = Note(
    "mark-on-the-way-up",
    "A pin is the mark of a distance close to the archer, where the arrow still rises through the "
    "line of sight: prove it there, a small change of the distance moves the mark much.",
)


@dataclass(frozen=True, kw_only=True)
class _Case:
    """What a request asks for, resolved; notes: those of every reply to it."""

    asked: Mapping[str, Any]
    setup: Setup
    shot: Shot
    sight: Sight | None
    zero_angle: float
    notes: list[Note]

    @classmethod
    def of(cls, asked: Mapping[str, Any], setup: Setup) -> "_Case":
        shot, notes = setup.shot(asked), [_PERFECT]
        if sideways(shot):
            notes.append(_HEIGHT_ONLY)
        if "sight" not in asked:
            return cls(asked=asked, setup=setup, shot=shot, sight=None, zero_angle=0.0, notes=notes)
        named = list(asked.get("pins", ()))
        if "best" in asked:
            named.append(asked["best"]["from"])
        sight = sight_of(asked["sight"], zero_distance({**asked, "distances": named}, notes))
        with solving(setup.units, lambda _: "/sight/zero_distance"):
            zero = aim(shot, sight.zero_distance)
            require_reached(shot, zero)
        return cls(
            asked=asked,
            setup=setup,
            shot=shot,
            sight=sight,
            zero_angle=float(zero.launch_angle[0]),
            notes=notes,
        )

    @property
    def half(self) -> float:
        """Half the zone's height, m."""
        return 0.5 * float(self.asked["zone_height"])

    def angle(self, angle: float) -> dict[str, float]:
        """A launch angle, and with a sight the travel to it, as a reply has them."""
        value = self.setup.units.value
        found = {"launch_angle": value(angle, "angle")}
        if self.sight is not None:
            travel = self.sight.travel(np.array([angle]), self.zero_angle)[0]
            found["travel"] = value(travel, "length")
        return found


@dataclass(frozen=True, kw_only=True)
class _Part:
    """What one half of the request comes to: of `pins`, or of `best`.

    own: the reply's members.  worst_note: one that comes foremost; notes: others.
    airspeed_range: flown, m/s.  error, position_error: of an angle, rad, and of a height, m.
    """

    own: dict[str, Any]
    worst_note: Note | None = None
    notes: list[Note]
    airspeed_range: tuple[float, float]
    error: float
    position_error: float


def _searched(case: _Case) -> tuple[float, float]:
    """Ends of the distances in which the spans of the pins are looked for, m."""
    ends, shot, units = case.asked.get("between", {}), case.shot, case.setup.units
    if "from" in ends:
        with solving(units, lambda _: "/between/from"):
            require_ahead(shot, np.array([ends["from"]]))
    with solving(units, lambda _: "/pins"):
        near, far = searched(shot, np.array(case.asked["pins"]), ends.get("from"), ends.get("to"))
    if far < near + SHORTEST and ends:
        name, less = ("to", "at least") if "to" in ends else ("from", "at most")
        other = near + SHORTEST if name == "to" else far - SHORTEST
        sentence = f"Nothing is left to search: give {less} {units.text(other, 'distance')}."
        raise ValidationError({"between": {name: [sentence]}})
    return near, max(far, near + SHORTEST)


def _pins(case: _Case) -> _Part:
    """What the pins asked for are good for."""
    units, pins = case.setup.units, case.asked["pins"]
    near, far = _searched(case)

    def pointer(lane: int) -> str:
        if lane == len(pins) and "to" in case.asked.get("between", {}):
            return "/between/to"
        return f"/pins/{lane if lane < len(pins) else pins.index(max(pins))}"

    with solving(units, pointer):
        found = pin_spans(case.shot, np.array(pins), 2.0 * case.half, near, far)
    own = {
        "between": span((near, far), units),
        "pins": [_pin_row(case, found, pin) for pin in range(len(pins))],
    }
    return _Part(
        own=own,
        notes=_cut_notes(found, units),
        airspeed_range=found.airspeed_range,
        error=float(found.aimed.error.max()),
        position_error=found.position_error,
    )


def _pin_row(case: _Case, found: PinSpans, pin: int) -> dict[str, Any]:
    units, some, own = case.setup.units, found.spans[pin], found.own[pin]
    return {
        "distance": units.value(found.aimed.distance[pin], "distance"),
        **case.angle(float(found.aimed.launch_angle[pin])),
        "spans": spans(some, units),
        "own_span": None if own is None else span(some[own], units),
    }


def _cut_notes(found: PinSpans, units: ReplyUnits) -> list[Note]:
    """A word where a pin's span ends only because the search does."""
    if not any(some and some[-1][1] >= found.far for some in found.spans):
        return []
    return [
        Note(
            "span-cut",
            f"A span that ends at {units.text(found.far, 'distance')} ends there because the "
            "search does: the arrow may stay inside the zone farther.",
        )
    ]


def _best(case: _Case) -> _Part:
    """The best pins, and those in equal steps beside them."""
    asked, units = case.asked["best"], case.setup.units
    with solving(units, lambda _: "/best/from"):
        require_ahead(case.shot, np.array([asked["from"]]))
    with solving(units, lambda _: "/best/to"):
        try:
            plan = best_pins(case.shot, asked["count"], asked["from"], asked["to"])
        except CloseToReach as error:
            most = units.text(error.farthest, "distance")
            sentence = (
                f"Too close to the farthest reach, where marks run away: give at most {most}."
            )
            raise ValidationError({"best": {"to": [sentence]}}) from error
    return _Part(
        own={"best": _best_reply(case, plan)},
        worst_note=_zone_left(case, plan.service),
        notes=_best_notes(plan, asked["count"]),
        airspeed_range=plan.airspeed_range,
        error=plan.error,
        position_error=plan.position_error,
    )


def _best_reply(case: _Case, plan: PinPlan) -> dict[str, Any]:
    """What BestPinsReply documents."""
    units = case.setup.units
    equal = plan.equal_service
    # Less than a reply resolves is no error to compare with.
    ratio = max(float(equal.worst.max()), 1e-6) / max(float(plan.service.worst.max()), 1e-6)
    return {
        **span((plan.near, plan.far), units),
        "pins": [_best_row(case, plan, pin) for pin in range(plan.mark.size)],
        **_spread(case, plan.service),
        "equal_steps": {
            "pins": [units.value(way, "distance") for way in plan.equal],
            **_spread(case, equal),
            "ratio": units.value(ratio, "number"),
        },
    }


def _best_row(case: _Case, plan: PinPlan, pin: int) -> dict[str, Any]:
    units, service = case.setup.units, plan.service
    return {
        "distance": units.value(plan.mark[pin], "distance"),
        "rising": bool(plan.rising[pin]),
        **case.angle(float(plan.launch_angle[pin])),
        "serves": spans(service.spans[pin], units),
        "worst_error": units.value(service.worst[pin], "length"),
        "worst_distance": units.value(service.at[pin], "distance"),
    }


def _spread(case: _Case, service: Service) -> dict[str, Any]:
    units, pin = case.setup.units, service.worst_pin
    return {
        "worst_error": units.value(service.worst[pin], "length"),
        "worst_distance": units.value(service.at[pin], "distance"),
        "stays_in_zone": bool(service.worst[pin] <= case.half),
    }


def _zone_left(case: _Case, service: Service) -> Note | None:
    """The caution that even the best pins leave the zone."""
    units, pin = case.setup.units, service.worst_pin
    if service.worst[pin] <= case.half:
        return None
    return Note(
        "zone-left",
        f"Even the best pins leave the zone: at {units.text(service.at[pin], 'distance')} the "
        f"arrow passes {units.text(service.worst[pin], 'length')} from its middle. Take more pins "
        "or a shorter span, and leave alone what no pin is good for.",
    )


def _best_notes(plan: PinPlan, asked: int) -> list[Note]:
    """What else there is to say of the best pins; asked: how many were."""
    notes = [_RISING] if plan.rising.any() else []
    if plan.mark.size < asked:
        notes.append(
            Note(
                "pins-to-spare",
                f"{plan.mark.size} pins do as well as {asked}: the others would serve no distance.",
            )
        )
    return notes


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema("PinSpansRequest", edge.models, pin_members(), sight=False)

    def view() -> Response:
        replies.negotiate(request, replies.JSON)
        asked = schema.read(reading.read_object(request, edge.limits))
        check_together(asked)
        case = _Case.of(asked, resolve(asked, edge.registry))
        works = {"pins": _pins, "best": _best}
        parts = [work(case) for name, work in works.items() if name in asked]
        return replies.json_reply(_reply(case, parts))

    return Resource(
        path="/v1/pin-spans",
        name="pin_spans",
        summary="One fixed pin for many distances",
        description="Finds the distances in which a fixed pin, held on the middle of a zone, keeps "
        "the arrow inside it, and places a number of pins so that the largest error over a span "
        "of distances is least.",
        view=view,
        request=schema,
        reply=pin_reply_schema(),
        problems=FLIGHT_PROBLEMS,
    )


def _reply(case: _Case, parts: list[_Part]) -> dict[str, Any]:
    units = case.setup.units
    own: dict[str, Any] = {"zone_height": units.value(2.0 * case.half, "length")}
    if case.sight is not None:
        own["zero_distance"] = units.value(case.sight.zero_distance, "distance")
    for part in parts:
        own |= part.own
    slow, fast = zip(*(part.airspeed_range for part in parts), strict=True)
    airspeeds = (min(slow), max(fast))
    own["solution"] = replies.solution(
        units,
        airspeeds,
        angle=max(part.error for part in parts),
        position=max(part.position_error for part in parts),
    )
    notes = [part.worst_note for part in parts if part.worst_note is not None]
    notes += case.notes
    for part in parts:
        notes += part.notes
    return case.setup.reply(own, [*notes, *case.setup.flown_notes(airspeeds)])
