"""Waits for the service, asks it for a mark table, and prints that as text.

Exit codes: 0 printed, 1 no table (one line on stderr says why), 3 the server ended.
"""

import argparse
import json
import os
import sys
import textwrap
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from arrowloft.client import Client, ClientError, Problem, Unreachable

LEGEND = (
    "+/- is one standard uncertainty, speed and drag being as uncertain as stated.\n"
    "Travel and clicks are down positive, drift and windage clicks right positive."
)

PATIENCE = 60.0
"""Seconds for a server to answer: far more than a start takes on a slow machine."""

COLUMNS = {
    "distance": ("distance", "distance"),
    "launch_angle": ("launch angle", "angle"),
    "travel": ("travel", "length"),
    "travel_uncertainty": ("+/-", "length"),
    "turns": ("turns", ""),
    "clicks": ("clicks", ""),
    "reading": ("reading", ""),
    "time": ("time", "time"),
    "speed": ("speed", "speed"),
    "energy": ("energy", "energy"),
    "apex_height": ("apex height", "length"),
    "drift": ("drift", "length"),
    "windage_clicks": ("windage clicks", ""),
}
"""Column of the reply -> its head and the dimension whose unit the reply's `units` names.

The reply has more columns; these are what an archer asks for, and fit a terminal.
"""


def main() -> int:
    """Print the table for the request in the named file."""
    arguments = _arguments()
    try:
        with Client(arguments.url) as client:
            if not _ready(client, arguments.server):
                return 3
            asked = json.loads(arguments.request.read_text(encoding="utf-8"))
            print(f"\n{_title(arguments.request)}{as_text(client.mark_table(asked))}")
    except Problem as problem:
        if problem.status == 401:
            # Only digests of the keys are here, and the service does what it was set up to do.
            print("\narrowloft: it answers those who have a key, so there is no table here")
            return 0
        told = [f"{error.get('pointer')}: {error.get('detail')}" for error in problem.errors]
        return _failed(f"the service refused the request: {problem.detail} {' '.join(told)}")
    except (ClientError, OSError, ValueError) as error:
        return _failed(str(error))
    except LookupError as error:
        return _failed(f"the service's reply lacks {error}")
    return 0


def as_text(reply: Mapping[str, Any]) -> str:
    """Lay a reply out: launch speed, aligned rows with their units, legend, pins, notes."""
    parts = [_table(reply["rows"], reply["units"]), LEGEND]
    if summary := _summary(reply):
        parts.insert(0, summary)
    if pins := reply.get("pins"):
        parts.append(_pins(pins, reply["units"]))
    notes = [_note(note) for note in reply.get("notes", ())]
    if notes:
        parts.append("\n".join(notes))
    return "\n\n".join(parts)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("request", type=Path, help="file with the request, JSON")
    parser.add_argument("--url", default="http://127.0.0.1:8080", help="of the service")
    parser.add_argument("--server", type=int, help="process whose end ends the waiting")
    return parser.parse_args()


def _ready(client: Client, server: int | None) -> bool:
    """Wait for the service's first answer; False where its process has ended."""
    end = time.monotonic() + PATIENCE
    while True:
        try:
            client.health()
            return True
        except Unreachable:
            if server is not None and not _runs(server):
                return False
            if time.monotonic() > end:
                raise
            time.sleep(0.1)


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def _title(request: Path) -> str:
    """First line of the text that tells about the request, where there is one beside it."""
    scenario = request.with_name("scenario.txt")
    return (
        scenario.read_text(encoding="utf-8").partition("\n")[0] + "\n" if scenario.exists() else ""
    )


def _summary(reply: Mapping[str, Any]) -> str:
    """One line on how fast the arrow starts, and by which models."""
    launch, drag = reply.get("launch", {}), reply.get("drag", {})
    speed, unit = launch.get("speed"), reply["units"].get("speed", "")
    if speed is None:
        return ""
    uncertainty = launch.get("standard_uncertainty")
    spread = "" if uncertainty is None else f" +/- {uncertainty:.2g}"
    return (
        f"Launch speed {_number(speed)}{spread} {unit} (model {launch.get('model')}), "
        f"drag by model {drag.get('model')}"
    )


def _table(rows: Sequence[Mapping[str, Any]], units: Mapping[str, str]) -> str:
    """Columns that the reply has, right-aligned under their heads and units."""
    columns = []
    for name, (title, dimension) in COLUMNS.items():
        # Clicks say what turns say, to the sight's own step.
        if name in rows[0] and not (name == "turns" and "clicks" in rows[0]):
            head = [*title.split(), units.get(dimension, "")]
            cells = _cells([row[name] for row in rows])
            columns.append((head, cells, max(map(len, [*head, *cells]))))
    deepest = max(len(head) for head, _, _ in columns)
    lines = [
        # Units stand in one line; a head of fewer words starts lower.
        [([""] * (deepest - len(head)) + head)[line].rjust(width) for head, _, width in columns]
        for line in range(deepest)
    ]
    lines.append(["-" * width for _, _, width in columns])
    lines += [
        [cells[index].rjust(width) for _, cells, width in columns] for index in range(len(rows))
    ]
    return "\n".join("  ".join(line).rstrip() for line in lines)


def _pins(pins: Sequence[Mapping[str, Any]], units: Mapping[str, str]) -> str:
    """One paragraph: where each pin stands below the first."""
    places = [
        f"{distance} {units.get('distance', '')} at {travel} {units.get('length', '')}"
        for distance, travel in zip(
            _cells([pin["distance"] for pin in pins]),
            _cells([pin["travel"] for pin in pins]),
            strict=True,
        )
    ]
    return textwrap.fill(f"Pins, down from the first: {', '.join(places)}", 96)


def _cells(values: Sequence[float]) -> list[str]:
    """One column as text, with the decimals that give its largest number four digits."""
    whole = all(float(value).is_integer() for value in values)
    decimals = 0 if whole else _decimals(max(map(abs, values)))
    # A small negative number is rounded to 0, not to -0.
    return [f"{round(value, decimals) + 0.0:.{decimals}f}" for value in values]


def _decimals(largest: float) -> int:
    """Decimals that give a number of this size four digits."""
    return next((places for places in range(4) if largest >= 10.0 ** (3 - places)), 3)


def _number(value: float) -> str:
    return f"{value:.{_decimals(abs(value))}f}"


def _note(note: Mapping[str, Any]) -> str:
    text = f"note: {note.get('message')} [{note.get('code')}]"
    # A code is one word, to be searched for.
    return textwrap.fill(text, 96, subsequent_indent="      ", break_on_hyphens=False)


def _failed(message: str) -> int:
    print(f"arrowloft: {' '.join(message.split())}", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
