"""Tries the faults, part by part, and writes one report: a table and the same as JSON.

Only a run of all parts writes `report`; one of some parts has a report of its own, named after
them, so that what stands in `report` was found in one run. The exit status is 1 where something
is not met.
"""

import importlib
import json
import os
import signal
import subprocess
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
    chosen = [part for part in PARTS if part in names or not names]
    about = _about()
    found = {}
    for name in chosen:
        print(f"trying: {name}: {PARTS[name]}", flush=True)
        begin = time.monotonic()
        found[name] = _tried(name)
        print(f"  {time.monotonic() - begin:.0f} s", flush=True)
    _write(found, about)
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


def _about():
    """What is tried, on what, from when on."""
    return {
        "commit": _commit(),
        "began": _now(),
        "scale": os.environ.get("FAULTS_SCALE", "1"),
        "counts set by hand": [f"{name} {value}" for name, value in _counts()],
        "python": sys.version.split()[0],
        "cores": os.cpu_count(),
    }


def _counts():
    """Variables that set the count of one part, so that it is not what was promised."""
    others = ("FAULTS_SCALE", "FAULTS_PROCESSES", "FAULTS_REPORT")
    found = sorted(os.environ.items())
    return [one for one in found if one[0].startswith("FAULTS_") and one[0] not in others]


def _commit():
    """As git names it, with "-dirty" where files differ from it."""
    command = ["git", "describe", "--always", "--abbrev=40", "--dirty", "--exclude=*"]
    try:
        told = subprocess.run(command, cwd=HERE, capture_output=True, text=True, timeout=30)
    except (OSError, subprocess.TimeoutExpired):
        return "unknown"
    return told.stdout.strip() or "unknown"


def _now():
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())


def _write(found, about):
    """What the report says of the commit is what it was when the run began."""
    whole = {
        **about,
        "ended": _now(),
        "parts": list(found),
        "met": all(figure.met for figures in found.values() for figure in figures),
    }
    lines = [f"{key}: {_told(value)}" for key, value in whole.items()]
    text = table([figure for figures in found.values() for figure in figures])
    folder = Path(os.environ.get("FAULTS_REPORT") or HERE.parents[1] / ".faults")
    folder.mkdir(parents=True, exist_ok=True)
    report = folder / ("report" if len(found) == len(PARTS) else f"report-{'-'.join(found)}")
    report.with_suffix(".txt").write_text("\n".join([*lines, "", text, ""]), encoding="utf-8")
    whole["parts"] = {
        name: [figure._asdict() for figure in figures] for name, figures in found.items()
    }
    written = json.dumps(whole, indent=1) + "\n"
    report.with_suffix(".json").write_text(written, encoding="utf-8")
    print(f"\n{text}\n\narrowloft: the report is in {report}.txt and .json")


def _told(value):
    if isinstance(value, bool):
        return "all" if value else "NOT ALL"
    return (", ".join(value) or "none") if isinstance(value, list) else value


if __name__ == "__main__":
    # A part's own processes import this module. Who ends the run ends what it has started.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    main(sys.argv[1:])
