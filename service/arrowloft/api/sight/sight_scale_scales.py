"""The scales of one request: each set-up resolved, its marks, its strip, and what to tell of it."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from arrowloft.api.blame import solving
from arrowloft.api.conditions import weathervane
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
from arrowloft.api.sight.sight_scale_marks import check_proof, proof_of
from arrowloft.api.sight.sight_scale_members import labels_of
from arrowloft.api.sight.sight_scale_notes import (
    CARRIED_OVER,
    PREDICTED_ONLY,
    crowded_note,
    proof_notes,
)
from arrowloft.api.sight.sight_scale_ticks import Ticks
from arrowloft.api.wording import shown
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.printed import LONGEST, PAPERS, Paper, Strip
from arrowloft.core.sight.printed_scale import SightScale, TurnsBack, sight_scale
from arrowloft.core.sight.proven_marks import NO_CORRECTION, Proof
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import Note
from arrowloft.plugin.registry import Registry

_ROOM = 1e-9
"""What rounding may add to a strip that just fits, m."""

_ZERO = "/sight/zero_distance"

_PAPER: Mapping[Paper, str] = {"a4": "A4", "letter": "Letter"}

CorrectedBy = Literal["own-marks", "set-up-marks", "nothing"]
"""Where a scale's correction comes from."""


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

    members: of its set-up, merged.  proof: its own marks; None where it has none.
    own: notes of the scale, before those of its flights.
    new: cautions of its set-up that the request's own has not, told so.
    """

    whose: Whose
    members: Mapping[str, Any]
    setup: Setup
    scale: SightScale
    proof: Proof | None
    corrected_by: CorrectedBy
    strip: Strip
    own: tuple[Note, ...]
    new: tuple[Note, ...]

    @property
    def error(self) -> float:
        """Estimated error of any angle, rad."""
        ticks = self.scale.ticks.error
        return ticks if self.proof is None else max(ticks, self.proof.foretold.error)

    @property
    def airspeed_range(self) -> tuple[float, float]:
        """Least and greatest airspeed flown, m/s."""
        low, high = self.scale.ticks.airspeed_range
        if self.proof is None:
            return low, high
        slowest, fastest = self.proof.foretold.airspeed_range
        return min(low, slowest), max(high, fastest)

    def flown_notes(self, airspeeds: tuple[float, float]) -> list[Note]:
        """What its flights are noted for, those of a card included."""
        shot = self.scale.shot
        with self.whose.faults():
            notes = weathervane(shot.wind_speed, shot.wind_from, self.scale.ticks.drift)
            return [*notes, *self.setup.flown_notes(airspeeds)]


class Scales:
    """All scales of one request, each solved by itself; raises Problem.

    proof: marks of the set-up itself, by which every scale without marks of its own is
    corrected; None where there are none, or where one scale has them as its own.
    """

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
        self.proof = self._set_up_proof() if "scales" in asked else None
        each = _each(asked)
        self._some_proven = any("marks" in whose.given for whose in each)
        self.all = tuple(
            self._one(label, whose, registry)
            for label, whose in zip(labels_of(asked), each, strict=True)
        )

    @property
    def notes(self) -> list[Note]:
        """What the set-up's own marks are noted for, and their flights."""
        if self.proof is None:
            return []
        used = any(one.corrected_by == "set-up-marks" for one in self.all)
        ticks = self.ticks.distance if used else None
        flown = self.setup.flown_notes(self.proof.foretold.airspeed_range)
        return [*proof_notes(self.proof, ticks, self.units), *flown]

    def _set_up_proof(self) -> Proof | None:
        proof = proof_of(
            self.asked.get("marks", ()),
            self.setup,
            self.setup.shot(self.asked),
            self.sight,
            self.units,
        )
        if proof is not None:
            check_proof(proof, self.units)
        return proof

    def _one(self, label: str, whose: Whose, registry: Registry) -> OneScale:
        own = {name: v for name, v in whose.given.items() if name not in ("label", "marks")}
        members = merged(self.asked, own) if whose.who else self.asked
        with whose.faults():
            setup = resolve(members, registry) if whose.who else self.setup
            shot = setup.shot(members)
            proof = proof_of(whose.given.get("marks", ()), setup, shot, self.sight, self.units)
            by = self._corrected_by(proof)
            scale = self._solved(shot, proof)
            strip = scale.strip(
                label,
                self.ticks.numbered,
                magnification=self.asked.get("magnification", 1.0),
                down=self.asked.get("farther", "down") == "down",
                numbers_right=self.asked.get("numbers", "right") == "right",
                word="predicted only" if by == "nothing" and self._some_proven else "",
            )
            self._check_room(strip)
        return OneScale(
            whose=whose,
            members=members,
            setup=setup,
            scale=scale,
            proof=proof,
            corrected_by=by,
            strip=strip,
            own=self._notes(strip, proof, by, own if whose.who else {}, setup),
            new=tuple(new_cautions(self.setup, setup, whose.who)),
        )

    def _corrected_by(self, own: Proof | None) -> CorrectedBy:
        if own is not None:
            return "own-marks"
        return "nothing" if self.proof is None else "set-up-marks"

    def _solved(self, shot: Shot, own: Proof | None) -> SightScale:
        """The scale through its own marks, or else corrected as the set-up's marks have it."""
        proof = self.proof if own is None else own
        correction = NO_CORRECTION if proof is None else proof.correction
        try:
            with solving(self.units, self._pointer):
                scale = sight_scale(shot, self.sight, self.ticks.distance, correction)
        except TurnsBack as error:
            # Where the prediction itself turns back, that is told first: marks may be right.
            if own is not None and not error.predicted:
                check_proof(own, self.units)
            raise self._turned(error) from error
        if own is not None:
            check_proof(own, self.units)
        return scale

    def _pointer(self, lane: int) -> str:
        """Lane of the core -> JSON pointer: ticks, then the zero distance."""
        return self.ticks.pointer(lane) if lane < self.ticks.distance.size else _ZERO

    def _notes(
        self,
        strip: Strip,
        proof: Proof | None,
        by: CorrectedBy,
        changed: Mapping[str, Any],
        setup: Setup,
    ) -> tuple[Note, ...]:
        """What one scale is noted for, the worst first.  changed: what its set-up has else."""
        notes: list[Note] = []
        if proof is not None:
            notes += proof_notes(proof, self.ticks.distance, self.units)
        if strip.word:
            notes.append(PREDICTED_ONLY)
        if by == "set-up-marks" and changed:
            notes.append(CARRIED_OVER)
        notes += crowded_note(strip, self.units)
        return (*notes, *self._changed_notes(changed, setup))

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
