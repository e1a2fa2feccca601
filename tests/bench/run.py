"""Runs the parts of the benchmark and prints one table."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import accuracy
import serving
from figures import table

import core

PARTS = {"accuracy": accuracy, "core": core, "service": serving}


def main(names):
    unknown = set(names) - set(PARTS)
    if unknown:
        sys.exit(f"arrowloft: no part {', '.join(sorted(unknown))}; choose from {', '.join(PARTS)}")
    found = []
    for name in names or PARTS:
        print(f"measuring: {name}", flush=True)
        found += PARTS[name].figures()
    print()
    print(table(found))
    sys.exit(not all(figure.met for figure in found))


main(sys.argv[1:])
