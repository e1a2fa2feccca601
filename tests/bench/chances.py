"""Chances of a hit: against shots drawn and flown one by one, and what 80 distances cost.

BENCH_SAMPLES: how many shots are drawn at each distance (10,000,000).
"""

import math
import multiprocessing
import os

import numpy as np
from figures import at_most, seconds, seen
from sampled_shots import flown, own_deviations
from setups import plain_shot

from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.aim_errors import AimErrors, Movement
from arrowloft.core.chances.hit_probability import Aiming, Archer, hit_probability
from arrowloft.core.chances.sensible_distance import sensible_distance
from arrowloft.core.chances.zones import Face, Zone
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight

SEED = 20240918
CHUNK = 50_000  # shots drawn together
HELD_AT = 400_000  # shots that say how much of the group the errors of its arrows make
AT = (25.0, 55.0)
ZONE, FACE = Zone.circle(0.12), Face.of_ten_rings(0.80, touch=0.0029)
ROWS = np.linspace(10.0, 80.0, 80)


def archer():
    """An invented archer with eight causes beside the group, on a slope and in wind."""
    return Aiming(
        shot=plain_shot(wind_speed=3.0, wind_from=1.0, slope=0.2),
        archer=Archer(group=Group(distance=30.0, vertical=0.04, sideways=0.04, arrows=12)),
        errors=AimErrors(
            speed=0.5,
            roll=math.radians(1.5),
            range_share=0.05,
            wind_along=1.0,
            wind_across=1.0,
            mark_distances=np.array([10.0, 100.0]),
            mark_angles=np.array([1e-3, 1e-3]),
            movement=Movement(away=0.5, right=0.3, scatter=0.5, delay=0.1),
        ),
    )


def figures():
    samples = int(os.environ.get("BENCH_SAMPLES", "10000000"))
    yield from _against_shots(samples)


def _against_shots(samples):
    """In tenths of a percent; the standard error of the count is said beside it."""
    found = hit_probability(archer(), ZONE, np.array(AT))
    chunks = -(-samples // CHUNK)
    spawn = multiprocessing.get_context("spawn")
    with spawn.Pool(min(os.cpu_count() or 1, chunks)) as pool:
        for distance, ours, error in zip(AT, found.probability, found.error, strict=True):
            own = own_deviations(archer(), distance, _drawn(0, HELD_AT)[:8])
            jobs = [(distance, own, chunk) for chunk in range(1, chunks + 1)]
            share = sum(pool.imap_unordered(_hits, jobs)) / (chunks * CHUNK)
            of = f"{chunks * CHUNK:,} shots at {distance:g} m, {share:.2%} hits"
            deviation = math.sqrt(share * (1.0 - share) / (chunks * CHUNK))
            yield at_most(f"{of}: difference", 1e3 * abs(ours - share), 1.0, " x 0.1 %")
            yield seen(f"{of}: standard error of the count", 1e3 * deviation, " x 0.1 %")
            yield seen(f"{of}: error the core states", 1e3 * error, " x 0.1 %")


def _drawn(chunk, count):
    """Standard normal numbers: the causes', and the group's up and right, (10, count)."""
    return np.random.default_rng((SEED, chunk)).standard_normal((10, count))


def _hits(job):
    """How many shots of a chunk hit."""
    distance, own, chunk = job
    z = _drawn(chunk, CHUNK)
    place = flown(archer(), distance, z[:8]) + own[:, None] * z[8:]
    return int(np.count_nonzero(np.hypot(*place) <= ZONE.half_height))


def cost():
    """80 distances and 8 causes in the core; the least of many."""
    aiming = archer()
    sight = Sight(radius=0.84, zero_distance=20.0)
    marks = seconds(lambda: mark_table(aiming.shot, sight, np.linspace(10.0, 80.0, 81)), 50)
    zone = seconds(lambda: hit_probability(aiming, ZONE, ROWS), 30)
    face = seconds(lambda: hit_probability(aiming, FACE, ROWS), 30)
    farthest = seconds(lambda: sensible_distance(aiming, ZONE, 0.8, 5.0, 150.0), 20)
    of = "80 distances x 8 causes"
    yield at_most(f"{of}, a zone", 1e3 * zone, 50.0, " ms")
    yield seen(f"{of}, a zone / 81 marks", zone / marks)
    yield seen(f"{of}, a face of ten rings", 1e3 * face, " ms")
    yield seen(f"{of}, a face of ten rings / 81 marks", face / marks)
    yield seen("the farthest sensible distance / 81 marks", farthest / marks)
