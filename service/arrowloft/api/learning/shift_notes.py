"""What /v1/sight-shift says in words: a verdict for each axis, then cautions."""

from typing import NamedTuple

from arrowloft.api.replies import ReplyUnits
from arrowloft.core.archer.landed import Landed
from arrowloft.core.archer.significance import MOST_MORE
from arrowloft.core.learning.sight_shift import AxisShift, SightShift
from arrowloft.plugin import Note

_USUAL_MOST = 0.02
"""Travel of the pin beyond which a shift is rather a slip, m: a sight that is put back sits
within a few millimetres of where it was (common practice, no source)."""

_SEEN = 1e-3
"""Least drift on the target that is worth a word, m."""

_TOGETHER = Note(
    "marks-move-together",
    "The same move mends every mark if the sight was put back without a tilt and as far from the "
    "eye as before, and bow and arrows are the same. Tighten its screws, make the move, shoot a "
    "second group here, then prove a far mark, from near to far, before you rely on the others.",
)
_UP_ONLY = Note(
    "sideways-not-judged",
    "`right` was not given: only the shift up and down is judged.",
)


class _Axis(NamedTuple):
    """How one axis is spoken of: a centre off to the plus or minus side, and the pin's way."""

    name: str
    plus: str
    minus: str
    forward: str
    back: str


_VERTICAL = _Axis("Up and down", "high", "low", "down", "up")
_SIDEWAYS = _Axis("Sideways", "to the right", "to the left", "to the right", "to the left")


def shift_notes(found: SightShift, landed: Landed, units: ReplyUnits) -> list[Note]:
    """The verdicts, and what they rest on."""
    axes = [(_VERTICAL, found.vertical)]
    if found.sideways is not None:
        axes.append((_SIDEWAYS, found.sideways))
    any_real = any(axis.evidence.real for _, axis in axes)
    only_together = found.real and not any_real
    notes = [_verdict(words, axis, units, only_together) for words, axis in axes]
    if only_together:
        notes.append(_only_together(found))
    if max(abs(axis.move.travel) for _, axis in axes) > _USUAL_MOST:
        notes.append(_large(axes, units))
    if any_real or only_together:
        notes.append(_TOGETHER)
    if found.sideways is None:
        notes.append(_UP_ONLY)
    elif abs(found.drift) >= _SEEN:
        notes.append(_drift(found.drift, units))
    return notes


_LEAVE = "leave the sight"


def _verdict(words: _Axis, axis: AxisShift, units: ReplyUnits, only_together: bool) -> Note:
    """One axis, and what to do."""
    found = axis.evidence
    if found.shift == 0.0:
        return Note("shift-within-scatter", f"{words.name}: the arrows are centred; {_LEAVE}.")
    side = words.plus if found.shift > 0.0 else words.minus
    size = units.text(float(f"{abs(found.shift):.3g}"), "length")
    centre = f"{words.name}: the arrows' centre is {size} {side}"
    chance = _chance(found.p_value)
    if found.real:
        return Note(
            "shift-real",
            f"{centre}, more than their scatter explains: a sight that had not moved would show "
            f"that in {chance} of such groups. {_advice(words, axis, units)}",
        )
    leave = "by itself this is no reason to move the sight" if only_together else _LEAVE
    return Note(
        "shift-within-scatter",
        f"{centre}, within their scatter: a sight that had not moved would show that in {chance} "
        f"of such groups; {leave}. {_more(found.more_arrows)}",
    )


def _advice(words: _Axis, axis: AxisShift, units: ReplyUnits) -> str:
    move = axis.move
    if move.clicks == 0:
        return "It is less than half a click: there is nothing to turn."
    way = words.forward if move.travel > 0.0 else words.back
    clicks = ""
    if move.clicks is not None:
        clicks = f", {abs(move.clicks)} click{'s' * (abs(move.clicks) != 1)}"
    return f"Move the pin {units.roughly(abs(move.travel), 'length')} {way}{clicks}."


def _more(arrows: int | None) -> str:
    if arrows is None:
        return f"Even {MOST_MORE} more arrows here would hardly tell a shift of this size."
    return (
        f"{arrows} more arrow{'s' * (arrows != 1)} at this distance would most likely tell a shift "
        "of this size."
    )


def _chance(p_value: float) -> str:
    """A chance as a share of groups."""
    if p_value < 1e-4:
        return "fewer than 0.01 %"
    return f"{100.0 * p_value:.0f} %" if p_value > 0.095 else f"{100.0 * p_value:.2g} %"


def _only_together(found: SightShift) -> Note:
    return Note(
        "shift-real-together",
        "Up and sideways taken together the shift is more than the scatter explains "
        f"({_chance(found.p_value)} of such groups), though neither is by itself: shoot some more "
        "arrows, or make both moves.",
    )


def _large(axes: list[tuple[_Axis, AxisShift]], units: ReplyUnits) -> Note:
    travel = max(abs(axis.move.travel) for _, axis in axes)
    return Note(
        "shift-large",
        f"The pin would have to move by {units.roughly(travel, 'length')}, far more than a sight "
        "that was put back is usually off by: check the places and their units, the distance, "
        "and which mark was set.",
    )


def _drift(drift: float, units: ReplyUnits) -> Note:
    side = "right" if drift > 0.0 else "left"
    return Note(
        "drift-cancelled",
        f"In this wind the arrows drift {units.roughly(abs(drift), 'length')} to the {side}: that "
        "is taken as cancelled, by the windage or by aiming off. If it was not, take it off "
        "`right` and ask again.",
    )
