"""Runs the parts of the benchmark and prints one table."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "common"))
sys.path.insert(0, str(Path(__file__).parent))

import accuracy
import chances
import comparing
import fitting
import load
import looks
import serving
import sweeping
import verify
import worst
from figures import table

import core

PARTS = {
    "accuracy": accuracy,
    "core": core,
    "comparing": comparing,
    "sweeping": sweeping,
    "fitting": fitting,
    "service": serving,
    "looks": looks,
    "worst": worst,
}
# They take minutes: measured where they are named.
ASKED = {"chances": chances, "load": load, "verify": verify}


def main(names):
    parts = PARTS | ASKED
    unknown = set(names) - set(parts)
    if unknown:
        sys.exit(f"arrowloft: no part {', '.join(sorted(unknown))}; choose from {', '.join(parts)}")
    found = []
    for name in names or PARTS:
        print(f"measuring: {name}", flush=True)
        found += parts[name].figures()
    print()
    print(table(found))
    sys.exit(not all(figure.met for figure in found))


if __name__ == "__main__":  # a part's own processes import this module
    main(sys.argv[1:])
