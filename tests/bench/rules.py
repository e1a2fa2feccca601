"""Two rules that archers use to correct predicted marks, in their kindest reading."""

import numpy as np
from archers import BUTTS, MARKS, TOLERANCE, Archer, Range, clicked

from arrowloft.core.arrays import Array
from arrowloft.core.sight.marks import mark_table

NEAR, FAR = 0, 40  # among MARKS: 20 and 60 yd


class Predicted:
    """Marks before a shot; arrays over MARKS: travel, m, and rise of the impact per travel."""

    def __init__(self, archer: Archer) -> None:
        table = mark_table(archer.shot, archer.sight, MARKS)
        self.travel, self.rise = table.travel, table.rise_per_tangent / archer.sight.radius


def two_marks(archer: Archer, range_: Range, ends: int, arrows: int) -> tuple[Array, Array]:
    """Ends at 20 and 60 yd by turns, each mark the one that all arrows there ask for.

    Marks after each end, (ends + 1, marks), twice: the predicted ones with the correction on
    a line through the two distances; and the marks themselves on a line through the two.
    """
    predicted = Predicted(archer)
    asked = {NEAR: list[float](), FAR: list[float]()}
    corrected, straight = [predicted.travel], [predicted.travel]
    for end in range(ends):
        place = (NEAR, FAR)[end % 2]
        mark = _mean(asked[place], _corrected(predicted, _means(asked))[place])
        travel = clicked(archer, mark)
        up, _ = range_.shoot(MARKS[place], travel, arrows)
        asked[place].append(travel - up.mean() / predicted.rise[place])
        means = _means(asked)
        corrected.append(_corrected(predicted, means))
        straight.append(_line(means) if len(means) == 2 else corrected[-1])
    return np.array(corrected), np.array(straight)


def _means(asked: dict[int, list[float]]) -> dict[int, float]:
    return {place: float(np.mean(marks)) for place, marks in asked.items() if marks}


def _mean(marks: list[float], otherwise: float) -> float:
    return float(np.mean(marks)) if marks else otherwise


def _corrected(predicted: Predicted, marks: dict[int, float]) -> Array:
    """The predicted marks with the corrections of one or two of them."""
    return predicted.travel + _line({p: m - predicted.travel[p] for p, m in marks.items()})


def _line(values: dict[int, float]) -> Array:
    """Over MARKS, the line through values at one or two places; 0 without any."""
    if len(values) < 2:
        return np.full(MARKS.size, sum(values.values()))
    (one, first), (other, second) = sorted(values.items())
    slope = (second - first) / (MARKS[other] - MARKS[one])
    return first + slope * (MARKS - MARKS[one])


def nudge(archer: Archer, range_: Range, ends: int, arrows: int, factor: float) -> Array:
    """From butt to butt, the pin nudged by each end's centre until one is centred.

    factor: of the tolerance within which an end is centred. Marks after each end,
    (ends + 1, marks): the predicted ones with the corrections of the marks found so far,
    interpolated; beyond the farthest on the line from the nearest to the farthest. The
    mark of the butt being shot is where the pin stands.
    """
    predicted = Predicted(archer)
    found: dict[int, float] = {}
    marks, turn = [predicted.travel], 0
    for _ in range(ends):
        place = int(BUTTS[turn % BUTTS.size])
        travel = clicked(archer, marks[-1][place])
        up, _ = range_.shoot(MARKS[place], travel, arrows)
        if abs(up.mean()) <= factor * TOLERANCE[place]:
            turn += 1
        else:
            travel = clicked(archer, travel - up.mean() / predicted.rise[place])
        found[place] = travel
        marks.append(predicted.travel + _between(found, predicted))
    return np.array(marks)


def _between(found: dict[int, float], predicted: Predicted) -> Array:
    """Corrections over MARKS from those of the marks found."""
    places = sorted(found)
    corrections = np.array([found[place] - predicted.travel[place] for place in places])
    between = np.interp(MARKS, MARKS[places], corrections)
    beyond = np.arange(MARKS.size) > places[-1]
    line = _line({places[0]: corrections[0], places[-1]: corrections[-1]})
    return np.where(beyond, line, between)
