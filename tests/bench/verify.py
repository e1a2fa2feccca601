"""The proof on invented archers: marks right after how many arrows, and intervals that hold.

BENCH_ARCHERS: how many archers (1000). The figures are the same on however many processors.
"""

import itertools
import multiprocessing
import os

import numpy as np
from advised import FACTORS, shoot_by_advice
from archers import SEED, TOLERANCE, Range, Truth, invented
from figures import Figure, at_least, at_most, seen
from rules import nudge, two_marks

SHARE = 0.95  # of the marks, that are to be right
ENDS, RULE_ENDS = 20, 40
END = 3  # arrows
AT = (6, 12, 24, 45)  # arrows at which the intervals are looked at
WITHIN = {0.68: 0.03, 0.95: 0.02}  # how far from its level an interval may hold the truth
FLYERS = 0.03  # share of arrows in the run with them
FEWER = 5  # only one archer in so many shoots the further runs


def figures():
    archers = int(os.environ.get("BENCH_ARCHERS", "1000"))
    yield from figures_of(everyone(archers))


def everyone(archers):
    """Every run of every archer: run -> record -> (archers, ...)."""
    spawn = multiprocessing.get_context("spawn")
    with spawn.Pool(min(os.cpu_count() or 1, archers)) as pool:
        runs = _stacked(pool.map(_main_runs, range(archers), chunksize=4))
        fewer = range(-(-archers // FEWER))
        return runs | _stacked(pool.map(_further_runs, fewer, chunksize=4))


def figures_of(runs):
    yield from _arrows(runs)
    yield from _stops(runs["advice"])
    yield from _coverages(runs["advice"])
    yield from _judged("ends of three", runs["advice"])
    yield from _further(runs)


def _stacked(found):
    return {
        run: {name: np.array([one[run][name] for one in found]) for name in records}
        for run, records in found[0].items()
    }


def _main_runs(number):
    """One archer by the advice and by the rules."""
    archer, truth, ranges = _on_the_range(number)
    kind, plain = two_marks(archer, next(ranges), RULE_ENDS, END)
    nudged = {
        str(factor): truth.heights(nudge(archer, next(ranges), RULE_ENDS, END, factor))
        for factor in FACTORS
    }
    return {
        "advice": vars(shoot_by_advice(archer, truth, next(ranges), ENDS, END)),
        "two marks": {"kind": truth.heights(kind), "plain": truth.heights(plain)},
        "nudge": nudged,
    }


def _further_runs(number):
    """The same by the advice in ends of six, and with flyers: as they are, and looked for."""
    archer, truth, ranges = _on_the_range(number, further=True)

    def run(ends, arrows, flyers=0.0, **options):
        range_ = next(ranges)
        range_.flyers = flyers
        return vars(shoot_by_advice(archer, truth, range_, ends, arrows, **options))

    return {
        "ends of six": run(ENDS // 2, 2 * END),
        "flyers": run(ENDS, END, FLYERS),
        "flyers looked for": run(ENDS, END, FLYERS, screened=True),
    }


def _on_the_range(number, further=False):
    """An archer, what is true of the marks, and ranges: each run has arrows of its own."""
    archer = invented(number)
    truth = Truth.of(archer)
    own = itertools.count(100 if further else 1)
    ranges = (Range(archer, truth, np.random.default_rng((SEED, number, run))) for run in own)
    return archer, truth, ranges


def _arrows(runs):
    """Arrows until SHARE of all marks are right: by the advice no more than by any rule."""
    for factor in FACTORS:
        of = f"{SHARE:.0%} of marks right to {factor:g} cm per 10 yd"
        rules = {
            "20 and 60, correction interpolated": runs["two marks"]["kind"],
            "20 and 60, marks on a line": runs["two marks"]["plain"],
            "nudge until centred": runs["nudge"][str(factor)],
        }
        found = {name: _first(heights, factor) for name, heights in rules.items()}
        advice = _first(runs["advice"]["heights"], factor)
        fewest = min(most if arrows is None else arrows for arrows, most, _ in found.values())
        if advice[0] is None:
            yield _told(f"{of}: by the advice", *advice)._replace(met=False)
        else:
            yield at_most(f"{of}: by the advice", advice[0], fewest, " arrows")
        for name, first in found.items():
            yield _told(f"{of}: {name}", *first)


def _right(heights, factor):
    """Share of all marks that are right after each end, (ends + 1,)."""
    return (np.abs(heights) <= factor * TOLERANCE).mean(axis=(0, 2))


def _first(heights, factor, arrows=END):
    """Arrows from which on enough marks are right, None where they never are; last share."""
    right = _right(heights, factor)
    lacking = np.flatnonzero(right < SHARE)
    ends = lacking[-1] + 1 if lacking.size else 0
    return (ends * arrows if ends < right.size else None), (right.size - 1) * arrows, right[-1]


def _told(name, arrows, most, share=None):
    if arrows is not None:
        return seen(name, arrows, " arrows")
    by_then = "" if share is None else f" ({share:.1%} by then)"
    return Figure(name, f"more than {most} arrows{by_then}", "", True)


def _stops(advice):
    """When the advice says to stop, and what is right then."""
    everyone = np.arange(len(advice["done"]))
    for column, factor in enumerate(FACTORS):
        done = advice["done"][:, :, column]
        ever, end = done.any(axis=1), done.argmax(axis=1)
        arrows = np.where(ever, end * END, np.inf)
        of = f"stop at {factor:g} cm per 10 yd"
        for name, percent in (("half of all archers", 50), ("nine of ten", 90)):
            most = np.percentile(arrows, percent, method="higher")
            yield _told(f"{of}: {name}", most if np.isfinite(most) else None, ENDS * END)
        if ever.any():
            heights = advice["heights"][everyone[ever], end[ever]]
            right = _right(heights[:, None], factor)[0]
            yield at_least(f"{of}: share of marks right then", right, SHARE)


def _coverages(advice):
    """How often the intervals hold the truth: over all ends, and after some numbers of arrows."""
    level = advice["level"]
    yield from _coverage("all ends", level[:, 1:])
    for arrows in AT:
        yield from _coverage(f"{arrows} arrows", level[:, arrows // END])


def _coverage(of, level):
    for nominal, off in WITHIN.items():
        held = float((level <= nominal).mean())
        wanted = f"{100 * nominal:.0f} +- {100 * off:.0f} %"
        met = abs(held - nominal) <= off
        yield Figure(f"{nominal:.0%} intervals hold the truth, {of}", f"{held:.1%}", wanted, met)


def _judged(of, run):
    """In how many fits sound ends were set aside, or told to contradict each other."""
    for name in ("aside", "contradicting"):
        share = 100.0 * (run[name][:, 1:] > 0).mean()
        yield seen(f"{of}: fits with ends {name}", share, " %")


def _further(runs):
    for run, arrows in (("ends of six", 2 * END), ("flyers", END), ("flyers looked for", END)):
        of = f"{run}, one archer in {FEWER}"
        name = f"{of}: {SHARE:.0%} of marks right to 1 cm per 10 yd"
        yield _told(name, *_first(runs[run]["heights"], 1.0, arrows))
        for nominal in WITHIN:
            held = 100.0 * (runs[run]["level"][:, 1:] <= nominal).mean()
            yield seen(f"{of}: {nominal:.0%} intervals hold the truth", held, " %")
        yield from _judged(of, runs[run])
