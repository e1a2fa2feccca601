"""Draws that depend on the seed, the name of what is drawn and the number of the draw alone.

The uniform number of draw i is the i-th output of a counter-based generator, Philox 4x64-10
(Salmon, Moraes, Dror and Shaw, SC11, 2011, doi 10.1145/2063384.2063405), whose key follows
from the seed and the name by NumPy's SeedSequence. So any part of a sample can be drawn by
anyone, in any order, and is the same.
"""

import hashlib

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.sweeping.distributions import Distribution

_PER_COUNT = 4
"""Outputs of Philox 4x64 for each value of its counter."""

_LEAST = 2.0**-54
"""Stands for a share of 0, at which some quantiles are infinite: half of the smallest step."""


def shares(seed: int, name: str, start: int, stop: int) -> Array:
    """Uniform numbers in (0, 1) of the draws start to stop, (stop - start,).

    53 bits each: the upper ones of the generator's output, as a share of 2^53.
    """
    bits = np.random.Philox(np.random.SeedSequence(seed, spawn_key=_words(name)))
    skipped = start % _PER_COUNT
    bits.advance(start // _PER_COUNT)
    raw = bits.random_raw(skipped + stop - start)[skipped:]
    drawn: Array = np.maximum((raw >> np.uint64(11)) * 2.0**-53, _LEAST)
    return drawn


def draws(distribution: Distribution, seed: int, name: str, start: int, stop: int) -> Array:
    """The draws start to stop of a distribution, (stop - start,)."""
    return distribution.quantile(shares(seed, name, start, stop))


def _words(name: str) -> tuple[int, ...]:
    """The name as four words of 32 bits, of its SHA-256."""
    digest = hashlib.sha256(name.encode()).digest()
    return tuple(int.from_bytes(digest[i : i + 4], "little") for i in range(0, 16, 4))
