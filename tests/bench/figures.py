"""One line of the benchmark: what was measured, what was wanted."""

import time
from collections import namedtuple

Figure = namedtuple("Figure", "name measured wanted met")


def at_most(name, measured, wanted, unit=""):
    return Figure(name, f"{measured:.3g}{unit}", f"<= {wanted:g}{unit}", measured <= wanted)


def at_least(name, measured, wanted, unit=""):
    return Figure(name, f"{measured:,.3g}{unit}", f">= {wanted:,g}{unit}", measured >= wanted)


def seen(name, measured, unit=""):
    return Figure(name, f"{measured:,.4g}{unit}", "", True)


def seconds(call, repeats):
    """Least processor time of a call, s: what other programs do counts least in the least."""
    call()
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        call()
        best = min(best, time.process_time() - start)
    return best


def table(figures):
    rows = [("figure", "measured", "wanted", "")]
    rows += [(f.name, f.measured, f.wanted, "met" if f.met else "NOT MET") for f in figures]
    widths = [max(len(row[i]) for row in rows) for i in range(4)]
    return "\n".join(
        "  ".join(c.ljust(w) for c, w in zip(r, widths, strict=True)).rstrip() for r in rows
    )
