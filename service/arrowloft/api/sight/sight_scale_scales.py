"""The scales of one request: each set-up resolved, its marks, its strip, and what to tell of it."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.api.blame import solving
from arrowloft.api.conditions import weathervane
from arrowloft.api.distances import pointer
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.sight.changed_setup import (
    faults_of,
    merged,
    must_suit,
    new_cautions,
    of_whom,
    speed_kept,
)
from arrowloft.api.sight.sight_scale_members import NUMBER_EVERY, labels_of
from arrowloft.api.sight.sight_scale_notes import scale_notes
from arrowloft.api.wording import shown
from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.sight.printed import LONGEST, PAPERS, Paper, Strip
from arrowloft.core.sight.printed_scale import (
    NONE_PROVEN,
    ProvenMarks,
    SightScale,
    TurnsBack,
    numbered,
    sight_scale,
)
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import Note
from arrowloft.plugin.registry import Registry

_ROOM = 1e-9
"""What rounding may add to a strip that just fits, m."""


_PAPER: Mapping[Paper, str] = {"a4": "A4", "letter": "Letter"}


@dataclass(frozen=True, kw_only=True)
class Whose:
    """Which of the request's scales something is about.

    who: as a sentence begins; empty where there is only one.  given: its own members.
    pointer: JSON pointer to them.
    """

    who: str
    given: Mapping[str, Any]
    pointer: str

    @contextmanager
    def faults(self) -> Iterator[None]:
        """Problems in here are this scale's."""
        with faults_of(self.who, self.given, self.pointer) if self.who else nullcontext():
            yield

    def told(self, notes: Sequence[Note]) -> list[Note]:
        """The notes, each beginning with whom it is about."""
        if not self.who:
            return list(notes)
        return [Note(note.code, of_whom(self.who, note.message)) for note in notes]


@dataclass(frozen=True, kw_only=True)
class OneScale:
    """One scale worked out.

    members: of its set-up, merged.  own: notes of the scale, before those of its flights.
    new: cautions of its set-up that the request's own has not, told so.
    """

    whose: Whose
    members: Mapping[str, Any]
    setup: Setup
    scale: SightScale
    strip: Strip
    own: tuple[Note, ...]
    new: tuple[Note, ...]

    def flown_notes(self, airspeeds: tuple[float, float]) -> list[Note]:
        """What its flights are noted for, those of a card included."""
        shot = self.scale.shot
        with self.whose.faults():
            notes = weathervane(shot.wind_speed, shot.wind_from, self.scale.ticks.drift)
            return [*notes, *self.setup.flown_notes(airspeeds)]


class Ticks:
    """The distances asked for, in order along the scale, and where each stands in the request.

    distance: m, ascending, (ticks,).  numbered: whether each carries its number.
    """

    def __init__(self, asked: Mapping[str, Any], body: dict[str, Any]) -> None:
        given = np.array(asked["distances"])
        self._body = body
        self._order: Lanes = np.argsort(given, kind="stable")
        self.distance: Array = given[self._order]
        ranged = type(body["distances"]) is dict
        step = float(given[1] - given[0]) if ranged else None
        every = asked.get("number_every", NUMBER_EVERY if ranged else 1)
        self.numbered: Mask = numbered(self.distance, step, every)

    def pointer(self, tick: int) -> str:
        """JSON pointer to a tick's distance, or to what ends the range."""
        return pointer(self._body, int(self._order[tick]))

    @property
    def nearest(self) -> str:
        """JSON pointer to the nearest tick's distance, or to what begins the range."""
        return "/distances/from" if type(self._body["distances"]) is dict else self.pointer(0)


class Scales:
    """All scales of one request, each solved by itself; raises Problem."""

    def __init__(
        self,
        asked: Mapping[str, Any],
        body: dict[str, Any],
        setup: Setup,
        sight: Sight,
        registry: Registry,
    ) -> None:
        self.asked, self.setup, self.sight = asked, setup, sight
        self.units: ReplyUnits = setup.units
        self.ticks = Ticks(asked, body)
        self.paper: Paper = asked.get("sheet", {}).get("paper", "a4")
        self.all = tuple(
            self._one(label, whose, registry)
            for label, whose in zip(labels_of(asked), _each(asked), strict=True)
        )

    def _one(self, label: str, whose: Whose, registry: Registry) -> OneScale:
        own = {name: v for name, v in whose.given.items() if name not in ("label", "marks")}
        members = merged(self.asked, own) if whose.who else self.asked
        with whose.faults():
            setup = resolve(members, registry) if whose.who else self.setup
            scale = self._solved(setup, members, _proven(whose.given.get("marks", ())))
            strip = scale.strip(
                label,
                self.ticks.numbered,
                magnification=self.asked.get("magnification", 1.0),
                down=self.asked.get("farther", "down") == "down",
                numbers_right=self.asked.get("numbers", "right") == "right",
            )
            self._check_room(strip)
        notes = scale_notes(scale, strip, self.units)
        if whose.who:
            notes += self._changed_notes(own, setup)
        return OneScale(
            whose=whose,
            members=members,
            setup=setup,
            scale=scale,
            strip=strip,
            own=notes,
            new=tuple(new_cautions(self.setup, setup, whose.who)),
        )

    def _solved(self, setup: Setup, members: Mapping[str, Any], proven: ProvenMarks) -> SightScale:
        try:
            with solving(self.units, lambda lane: self._pointer(lane, proven.distance.size)):
                scale = sight_scale(
                    setup.shot(members),
                    self.sight,
                    self.ticks.distance,
                    proven=proven,
                    speed_uncertainty=setup.speed_uncertainty,
                    drag_uncertainty=setup.drag_uncertainty,
                )
        except TurnsBack as error:
            if not error.predicted:
                _check_ascending(proven)
            raise self._turned(error) from error
        _check_ascending(proven)
        return scale

    def _pointer(self, lane: int, proven: int) -> str:
        """Lane of the core -> JSON pointer: ticks, then proven marks, then the zero distance."""
        mark = lane - self.ticks.distance.size
        if mark < 0:
            return self.ticks.pointer(lane)
        return f"/marks/{mark}/distance" if mark < proven else "/sight/zero_distance"

    def _turned(self, error: TurnsBack) -> Problem:
        roughly = self.units.roughly
        if not error.predicted:
            near = self.ticks.distance[error.at]
            detail = (
                f"Through these marks the scale turns back near {roughly(near, 'distance')}: check "
                "the marks beside it, and leave out what is in doubt."
            )
            return Problem("invalid-request", detail, (Fault("/marks", detail),))
        last = self.ticks.distance[-1]
        turn = (
            f"The marks still go back at {roughly(last, 'distance')}"
            if error.turn is None
            else f"The marks turn back at {roughly(error.turn, 'distance')}"
        )
        detail = (
            f"{turn}: nearer than that the pin goes down again, and two distances would share "
            "one place on the scale. Begin farther out."
        )
        return Problem("invalid-request", detail, (Fault(self.ticks.nearest, detail),))

    def _check_room(self, strip: Strip) -> None:
        """Raise Problem where the strip is longer than the paper takes."""
        along = np.abs(strip.position - strip.position[0])
        fits = int(np.sum(along <= LONGEST[self.paper] + _ROOM))
        if fits == along.size:
            return
        text = self.units.text
        wider = [paper for paper in PAPERS if along[-1] <= LONGEST[paper] + _ROOM]
        other = f", or print on {_PAPER[wider[0]]} paper" if wider else ""
        ends = f"end at {text(strip.distance[fits - 1], 'distance')} or nearer" if fits > 1 else ""
        detail = (
            f"The scale is {text(along[-1], 'length')} long from its first tick to its last, and "
            f"{_PAPER[self.paper]} paper takes {text(LONGEST[self.paper], 'length')}: "
            f"{ends or 'put the ticks closer together'}{other}."
        )
        raise Problem("invalid-request", detail, (Fault(self.ticks.pointer(fits), detail),))

    def _changed_notes(self, own: Mapping[str, Any], setup: Setup) -> tuple[Note, ...]:
        suits = (must_suit("its arrow"),) if own.keys() & {"arrow", "bow"} else ()
        whose, member = "Its arrow", "the scale's `launch`"
        return (*speed_kept(own, self.setup, setup, whose=whose, member=member), *suits)


def _each(asked: Mapping[str, Any]) -> list[Whose]:
    if "scales" not in asked:
        return [Whose(who="", given=asked, pointer="")]
    return [
        Whose(who=f"Scale {shown(scale['label'])}", given=scale, pointer=f"/scales/{index}")
        for index, scale in enumerate(asked["scales"])
    ]


def _proven(marks: Sequence[Mapping[str, float]]) -> ProvenMarks:
    if not marks:
        return NONE_PROVEN
    return ProvenMarks(
        distance=np.array([mark["distance"] for mark in marks]),
        travel=np.array([mark["travel"] for mark in marks]),
    )


def _check_ascending(proven: ProvenMarks) -> None:
    """Raise Problem unless proven marks go on along the scale.

    Where the prediction itself turns back, that is told first: such marks may then be right.
    """
    back = np.flatnonzero(np.diff(proven.travel) <= 0.0)
    if back.size:
        detail = (
            "A farther mark has more travel, down positive; this has no more than the mark before: "
            "correct one of them, or leave out what is nearer than where marks turn."
        )
        pointer = f"/marks/{int(back[0]) + 1}/travel"
        raise Problem("invalid-request", detail, (Fault(pointer, detail),))
