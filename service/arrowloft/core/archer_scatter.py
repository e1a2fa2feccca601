"""An archer's scatter, from a group known before and from the arrows just shot."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from arrowloft.core.groups import Group
from arrowloft.core.landed import Landed

USUAL, USUAL_DEGREES = 1.5e-3, 2.0
"""Standard deviation of the launch direction up and sideways taken where nothing is known,
rad, and the degrees of freedom that it counts for: about 9 cm at 60 m, twice as good or half
as good an archer being just as likely (common practice, no source)."""

KNOWN_DEGREES = 30.0
"""Degrees of freedom of a group whose number of arrows is not told."""


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """Standard deviation of the launch direction along one axis, rad.

    degrees: of freedom that it is known with.
    """

    deviation: float
    degrees: float

    def centre(self, distance: float, arrows: int) -> float:
        """Standard uncertainty of the centre of so many arrows at a distance, m."""
        return self.deviation * distance / math.sqrt(arrows)


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
