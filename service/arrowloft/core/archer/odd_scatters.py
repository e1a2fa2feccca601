"""Ends whose arrows scatter as that archer's do not: a slip of a unit, one hole typed thrice."""

from collections.abc import Sequence

from scipy.special import fdtr, fdtrc

from arrowloft.core.archer.archer_scatter import archer_scatter
from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.landed import Landed

UNLIKELY = 0.005
"""Chance, over all ends and both axes, at which a sound scatter is told to be odd."""


def odd_scatters(landed: Sequence[Landed], group: Group | None = None) -> list[int]:
    """Positions of ends that scatter far more or far less than the others do.

    The variance of an end over that of all others, pooled with the archer's group, follows
    Fisher's distribution of their degrees of freedom; both tails count. The oddest is taken
    out and the others are judged again.
    """
    left = list(range(len(landed)))
    found: list[int] = []
    # A lone end is held against the group known before, if any.
    while len(left) > (1 if group is None else 0):
        chances = [_chance(landed, left, index, group) for index in left]
        least = min(chances)
        if 2.0 * least * len(left) >= UNLIKELY:
            break
        found.append(left.pop(chances.index(least)))
    return sorted(found)


def _chance(landed: Sequence[Landed], left: list[int], index: int, group: Group | None) -> float:
    """Chance of so odd a scatter on either axis of one of the ends left."""
    own = landed[index]
    others = archer_scatter([landed[other] for other in left if other != index], group)
    chance = 1.0
    for deviation, known in ((own.vertical, others.vertical), (own.sideways, others.sideways)):
        if deviation is not None and own.degrees > 0.0:
            ratio = (deviation / own.distance / known.deviation) ** 2
            both = (own.degrees, known.degrees, ratio)
            chance = min(chance, 2.0 * float(fdtrc(*both)), 2.0 * float(fdtr(*both)))
    return chance
