"""Tries the faults, part by part, and writes one report: a table and the same as JSON.

The exit status is 1 where something is not met.
"""

import importlib
import json
import os
import signal
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "common"), str(HERE.parent / "bench")]

from figures import Figure, table  # noqa: E402

PARTS = {
    "generated": "requests made from the document",
    "mutated": "spoilt bodies on every parser",
    "attacks": "hand-made attacks over raw sockets",
    "slow": "slow clients by the hundred",
    "killed": "killed, frozen and restarted under load",
    "limited": "rate limits over all workers",
    "plugins": "strangers' models that misbehave",
    "machine": "full disk, read-only files, a clock that jumps",
    "soak": "memory and counters over many requests",
}


def main(names):
    unknown = set(names) - set(PARTS)
    if unknown:
        sys.exit(f"arrowloft: no part {', '.join(sorted(unknown))}; choose from {', '.join(PARTS)}")
    found = {}
    for name in [part for part in PARTS if part in names or not names]:
        print(f"trying: {name}: {PARTS[name]}", flush=True)
        begin = time.monotonic()
        found[name] = _tried(name)
        print(f"  {time.monotonic() - begin:.0f} s", flush=True)
    _write(found)
    sys.exit(not all(figure.met for figures in found.values() for figure in figures))


def _tried(name):
    """A part's figures; one that breaks off has not met what was wanted, and the rest goes on."""
    figures = []
    try:
        for figure in importlib.import_module(name).figures():
            figures.append(figure)
            print("  " + " ".join(str(cell) for cell in figure[:3]), flush=True)
    except Exception as error:
        import traceback

        traceback.print_exc()
        figures.append(
            Figure(f"{name}: ended", f"{type(error).__name__}: {error}"[:120], "", False)
        )
    return figures


def _write(found):
    text = table([figure for figures in found.values() for figure in figures])
    folder = Path(os.environ.get("FAULTS_REPORT") or HERE.parents[1] / ".faults")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "report.txt").write_text(text + "\n", encoding="utf-8")
    parts = {name: [figure._asdict() for figure in figures] for name, figures in found.items()}
    whole = {
        "ended": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
        "python": sys.version.split()[0],
        "cores": os.cpu_count(),
        "scale": os.environ.get("FAULTS_SCALE", "1"),
        "met": all(figure.met for figures in found.values() for figure in figures),
        "parts": parts,
    }
    (folder / "report.json").write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    print(f"\n{text}\n\narrowloft: the report is in {folder}")


if __name__ == "__main__":
    # A part's own processes import this module. Who ends the run ends what it has started.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    main(sys.argv[1:])
