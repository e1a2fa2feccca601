"""An archer's scatter, from a group known before and from the arrows just shot."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.landed import Landed

USUAL, USUAL_DEGREES = 1.5e-3, 4.0
"""Standard deviation of the launch direction up and sideways taken where nothing is known,
rad, and the degrees of freedom that it counts for: 9 cm at 60 m, and three archers of four
between 1.1 and 2.7 mrad (common practice, no source)."""

READING = 1e-3
"""Standard uncertainty to which the place of an arrow, or of a centre, is read, m."""

KNOWN_DEGREES = 10.0
"""Degrees of freedom of a group whose number of arrows is not told."""


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """Standard deviation of the launch direction along one axis, rad.

    degrees: of freedom that it is known with.
    """

    deviation: float
    degrees: float

    def centre(self, distance: float, arrows: int) -> float:
        """Standard uncertainty of the centre of so many arrows at a distance, m: s D / sqrt(n).

        No less than READING, to which arrows are read on a target.
        """
        return max(self.deviation * distance / math.sqrt(arrows), READING)


@dataclass(frozen=True, kw_only=True)
class ArcherScatter:
    """The scatter up and down, and sideways.

    assumed: whether nothing was known of it before but what is usual.
    """

    vertical: Scatter
    sideways: Scatter
    assumed: bool


def archer_scatter(landed: Sequence[Landed], group: Group | None = None) -> ArcherScatter:
    """Pool the group known before with the scatter of the arrows themselves.

    Each axis by itself, the impacts growing with the distance D:

        s^2 = sum k_i (s_i / D_i)^2 / sum k_i

    with the degrees of freedom k_i of each standard deviation s_i. Without a group what is
    USUAL counts for USUAL_DEGREES of them.
    """
    vertical = [(arrows.vertical, arrows.distance, arrows.degrees) for arrows in landed]
    sideways = [(arrows.sideways, arrows.distance, arrows.degrees) for arrows in landed]
    if group is None:
        usual = (USUAL, 1.0, USUAL_DEGREES)
        return ArcherScatter(
            vertical=_pooled((usual, *vertical)), sideways=_pooled((usual, *sideways)), assumed=True
        )
    degrees = KNOWN_DEGREES if group.degrees is None else group.degrees
    return ArcherScatter(
        vertical=_pooled(((group.vertical, group.distance, degrees), *vertical)),
        sideways=_pooled(((group.sideways, group.distance, degrees), *sideways)),
        assumed=False,
    )


def _pooled(parts: Iterable[tuple[float | None, float, float]]) -> Scatter:
    """One axis from (standard deviation, distance, degrees of freedom)."""
    known = [(s / distance, k) for s, distance, k in parts if s is not None and k > 0.0]
    degrees = sum(k for _, k in known)
    return Scatter(deviation=math.sqrt(sum(k * s * s for s, k in known) / degrees), degrees=degrees)


def own_scatter(landed: Landed) -> ArcherScatter | None:
    """The scatter of some arrows alone; None where they do not tell it on each axis noted."""
    sideways = landed.vertical if landed.right is None else landed.sideways
    if landed.vertical is None or sideways is None or not landed.degrees > 0.0:
        return None

    def axis(deviation: float) -> Scatter:
        return Scatter(deviation=deviation / landed.distance, degrees=landed.degrees)

    return ArcherScatter(vertical=axis(landed.vertical), sideways=axis(sideways), assumed=False)


def told_more(scatter: Scatter, squares: float, degrees: float) -> Scatter:
    """The scatter pooled with what more is known of it.

    squares: sum of squares in variances of the scatter as it is, over so many degrees of
    freedom: s'^2 = s^2 (k + squares) / (k + degrees).
    """
    both = scatter.degrees + degrees
    return Scatter(
        deviation=scatter.deviation * math.sqrt((scatter.degrees + squares) / both), degrees=both
    )
