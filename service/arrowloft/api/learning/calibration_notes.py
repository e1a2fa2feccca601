"""What a calibration has to say in words, the worst first."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from arrowloft.api.archer.landed import flyer_note, odd_note
from arrowloft.api.learning.calibration_reply import status_of
from arrowloft.api.learning.observations import Seen
from arrowloft.api.learning.slips import WORDS
from arrowloft.api.replies import ReplyUnits
from arrowloft.core.learning.calibration import Calibration
from arrowloft.core.learning.observations import End
from arrowloft.core.learning.range_session import Aims, RangeSession
from arrowloft.core.learning.suspects import UNLIKELY
from arrowloft.core.learning.unknowns import DRAG, NAMES, SPEED, ZERO
from arrowloft.plugin import Note

_FAR = 3.0
"""Standard uncertainties of the prior from which on a fitted value is told to be far off."""

_PRIOR_ALONE = (
    "Nothing else was seen, so that the set-up itself may as well be at fault: check its members. "
    "The marks are those from before the range."
)

_PROVE = Note(
    "prove-corrected-marks",
    "Corrected marks are still computed: shoot them from near to far, with a safe backstop, before "
    "relying on any of them.",
)


def session_notes(
    asked: Mapping[str, Any], seen: Seen, session: RangeSession, aims: Aims, units: ReplyUnits
) -> list[Note]:
    """What was found of the observations, and what the fit rests on."""
    said = _Said(asked, units)
    return [
        *said.misfits(session),
        *said.flyers(seen),
        *said.odd(seen, session),
        *said.zero(session),
        *_poor(session),
        *_far(session.judged.calibration),
        *_few_values(session),
        *said.not_told(session),
        *said.noise(seen, session),
        *said.unsafe(session, aims),
        *_not_enough(session),
        *_all_known(session.judged.calibration),
        *_stayed(session.judged.calibration),
        _PROVE,
    ]


class _Said:
    """Notes that name observations as the caller knows them."""

    def __init__(self, asked: Mapping[str, Any], units: ReplyUnits) -> None:
        self._items: Sequence[Mapping[str, Any]] = asked["observations"]
        self._units = units

    def _name(self, index: int) -> str:
        item = self._items[index]
        distance = self._units.text(item["distance"], "distance")
        named = f" ({item['name']!r})" if "name" in item else ""
        return f"/observations/{index}{named} at {distance}"

    def misfits(self, session: RangeSession) -> list[Note]:
        """What was set aside, and what contradicts."""
        judged = session.judged
        notes = [
            Note(
                "observation-set-aside",
                f"{self._name(index)} does not fit and was set aside: it is "
                f"{_far_off(float(judged.foretold.distance[index]))} from what the set-up and the "
                "other observations foretell. "
                f"{_explained(judged.slips.get(index, ()))} "
                f"{'' if judged.kept else _PRIOR_ALONE}".rstrip(),
            )
            for index in judged.aside
        ]
        doubtful = judged.contradicting
        if len(doubtful) == 1:
            notes.append(
                Note(
                    "observation-in-doubt",
                    f"{self._name(doubtful[0])} does not fit what was known before and the "
                    f"other observations, too few to set it aside; it was used. "
                    f"{_explained(judged.slips.get(doubtful[0], ()))} If the set-up was less "
                    "certain than `priors` says, a sight not yet shot in for one, give larger "
                    "priors.",
                )
            )
        elif doubtful:
            names = ", ".join(self._name(index) for index in doubtful)
            notes.append(
                Note(
                    "observations-contradict",
                    f"These contradict each other, without telling which is wrong: {names}. All "
                    "were used, and all uncertainties enlarged: check what was written down, and "
                    "shoot one of them again.",
                )
            )
        return notes

    def flyers(self, seen: Seen) -> list[Note]:
        """Arrows left out."""
        return [
            flyer_note(f"/observations/{index}", out)
            for index, out in enumerate(seen.flyers)
            if out
        ]

    def odd(self, seen: Seen, session: RangeSession) -> list[Note]:
        """Ends that scatter as this archer's arrows do not."""
        return [odd_note(f"/observations/{seen.ends[end]}") for end in session.odd]

    def noise(self, seen: Seen, session: RangeSession) -> list[Note]:
        """The last end, where its offset is no more than its scatter explains."""
        found, ends = session.corrections, seen.ends
        if found is None or "proven" in self._items[ends[-1]]:
            return []
        if ends[-1] in session.judged.aside:
            return []
        last = seen.observations[ends[-1]]
        assert isinstance(last, End)
        if found.beyond_scatter[-1] or found.windage_beyond_scatter[-1]:
            return []
        return [
            Note(
                "within-scatter",
                f"{self._name(ends[-1])} lies no farther off than its own arrows scatter: do "
                "not nudge the sight by it alone; `correction.move` has what all ends together ask "
                "for.",
            )
        ]

    def zero(self, session: RangeSession) -> list[Note]:
        """A zero mark that must be off for all to fit."""
        if not session.zero_off:
            return []
        off = float(session.judged.calibration.values[ZERO])
        side = "too high" if off > 0.0 else "too low"
        return [
            Note(
                "zero-off",
                "What was seen agrees with itself, but not with a zero mark as sure as "
                "`priors.zero`: it fits if the pin stands "
                f"{self._units.roughly(abs(off), 'length')} {side} there, which is taken to be so. "
                "Check how the zero was set, and shoot it again.",
            )
        ]

    def unsafe(self, session: RangeSession, aims: Aims) -> list[Note]:
        """Butts at which the mark is not yet known well enough to shoot."""
        safe = session.advice.safe
        if safe.all():
            return []
        least = self._units.roughly(float(aims.butts[~safe].min()), "distance")
        start = "the nearer ones first" if safe.any() else "from a few steps away first"
        return [
            Note(
                "start-near",
                f"From {least} on the marks are not known well enough, or arrows scatter too much, "
                f"to be sure of the butt: shoot {start}, with a large, safe backstop, and go "
                "farther with what that teaches.",
            )
        ]

    def not_told(self, session: RangeSession) -> list[Note]:
        """Speed and drag, where the observations do not tell them apart."""
        judged, fit = session.judged, session.judged.calibration
        vague = min(fit.prior.uncertainties[[SPEED, DRAG]]) > 0.0
        if session.separation.told or not vague or not fit.deviation.size:
            return []
        planes = {end.landed.distance for end in fit.predictions.ends}
        within = ""
        if len(planes) > 1 and not judged.contradicting:
            near, far = (self._units.roughly(end, "distance") for end in (min(planes), max(planes)))
            within = (
                f" Between {near} and {far}, where arrows were shot, marks hardly suffer from that."
            )
        return [
            Note(
                "speed-and-drag-not-told-apart",
                "By themselves the observations do not tell launch speed and drag apart: fast "
                "arrows that drag much and slow ones that drag little ask for the same marks."
                f"{within} "
                "`separation.would_tell` says what would tell.",
            )
        ]


def _not_enough(session: RangeSession) -> list[Note]:
    advice = session.advice
    if advice.enough or not advice.plan:
        return []
    return [
        Note(
            "plan-not-enough",
            f"Even {advice.arrows} more arrows at these butts would leave some marks unsure: their "
            f"doubt would fall from {advice.doubt:.2g} to {advice.plan[-1].doubt:.2g}. A butt "
            "nearer to the marks in question, a measured speed or a wider tolerance would help.",
        )
    ]


def _all_known(fit: Calibration) -> list[Note]:
    if fit.prior.uncertainties[: ZERO + 1].any():
        return []
    return [
        Note(
            "nothing-to-learn",
            "All `priors` are 0: the set-up counts as known exactly, and nothing is learned from "
            "what was seen.",
        )
    ]


def _far_off(distance: float) -> str:
    if not math.isfinite(distance):
        return "farther than can be computed"
    return f"{distance:.3g} standard uncertainties"


def _explained(slips: Sequence[str]) -> str:
    if not slips:
        return "Check what was written down: sign, unit, distance and mark."
    words = [WORDS.get(slip, slip.replace("-for-", " written for ")) for slip in slips]
    return f"It would fit with {' or '.join(words)}: check what was written down."


def _poor(session: RangeSession) -> list[Note]:
    judged = session.judged
    if judged.contradicting or judged.goodness.chance >= UNLIKELY:
        return []
    return [
        Note(
            "poor-fit",
            "As a whole the observations fit worse than their uncertainties allow, and no single "
            "one stands out: the archer's scatter or the priors may be larger than was said, or "
            "conditions changed. All uncertainties were enlarged by that.",
        )
    ]


def _far(fit: Calibration) -> list[Note]:
    far = [NAMES[i] for i in range(len(NAMES)) if abs(fit.x[i]) > _FAR]
    if not far:
        return []
    return [
        Note(
            "far-from-prior",
            f"Fitted more than {_FAR:g} standard uncertainties from what was said before: "
            f"{', '.join(far)}. Check these members of the set-up, or give larger `priors`.",
        )
    ]


def _few_values(session: RangeSession) -> list[Note]:
    fit, values = session.judged.calibration, session.judged.goodness.degrees
    free = int((fit.prior.uncertainties > 0.0).sum())
    if not fit.predictions.aside.size:
        free -= int(fit.prior.windage_uncertainty > 0.0)
    if values >= free or not fit.predictions.observed.size:
        return []
    return [
        Note(
            "fewer-values-than-unknowns",
            f"{values} value{' was' if values == 1 else 's were'} seen for {free} unknowns: what "
            "they cannot tell stays as it was known before; each one's `status` in `parameters` "
            "says which.",
        )
    ]


def _stayed(fit: Calibration) -> list[Note]:
    stayed = [
        name
        for index, (name, status) in enumerate(zip(NAMES, status_of(fit), strict=True))
        if status == "prior" and index != ZERO
    ]
    if not stayed or not fit.deviation.size:
        return []
    return [
        Note(
            "stayed-at-prior",
            f"Not learned from these observations, and as they were known before: "
            f"{', '.join(stayed)}.",
        )
    ]
