"""What a drag model says of the airspeeds flown stands in every reply that tells of flights."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient

from arrowloft.app import create_app
from arrowloft.plugin import Array, Arrow, DragModel, Flow, Note, Source, Validity
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
WORD = "Nobody measured it any faster."


@dataclass(frozen=True, kw_only=True)
class Slow(DragModel):
    """Of use up to Mach 0.01 alone; flown faster it says so, and how fast."""

    name = "slow"
    version = "1"
    sources = (Source("Written for this test", standing="derived"),)
    default_uncertainty = 0.1
    validity = (Validity("mach", 0.0, 0.01, outside="note", reason=WORD),)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return np.full(flow.airspeed.shape, 5e-5)

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        return (Note("flown", f"{flow.airspeed.min():.6f} {flow.airspeed.max():.6f}"),)


SLOW: Body = {"drag": {"model": "slow"}}
OTHER: Body = {"drag": {"model": "constant", "parameters": {"coefficient": 2}}}
SET_UP: Body = {
    "bow": {"peep_height": "112 mm", "draw_length": "710 mm", "brace_height": "165 mm"},
    "arrow": {
        "mass": "25 g",
        "shaft_diameter": "5.7 mm",
        "length": "710 mm",
        "balance_point": "400 mm",
    },
    "launch": {"model": "measured", "parameters": {"speed": "80 m/s"}},
    "units": {"speed": "m/s"},
}
SIGHT: Body = {"sight": {"radius": "820 mm", "zero_distance": "20 m"}}
FAR: Body = {"distances": ["20 m", "50 m"]}
GROUP: Body = {"distance": "30 m", "diameter": "9 cm", "arrows": 6}
BLOWING: Body = {"wind": {"speed": "3 m/s", "from": "40 deg"}}
VANES = {"count": 3, "length": "46 mm", "height": "10 mm", "position": "27 mm"}
CASES: dict[str, Body] = {
    "mark-table": SIGHT | FAR | BLOWING,
    "trajectory": {"target": "50 m"} | BLOWING,
    "cant-tolerance": {"allowance": {"diameter": "20 cm"}} | FAR | BLOWING,
    "clearance": {"target": "50 m", "ground": {"eye_height": "1.6 m", "target_height": "1.3 m"}}
    | BLOWING,
    "sight-travel": {"window": {"nearest": "20 m", "farthest": "50 m"}} | SIGHT | FAR,
    "slopes": {"slopes": ["-20 deg", "20 deg"]} | FAR | BLOWING,
    "wind": {"speeds": ["3 m/s"]} | FAR,
    "setup-change": {"second": {"slope": "0 deg"}} | SIGHT | FAR | BLOWING,
    "sight-scale": SIGHT | FAR | BLOWING,
    "calibration": {"observations": [], "next": {"distances": ["50 m"]}} | SIGHT | FAR | BLOWING,
    "error-budget": SIGHT | FAR | BLOWING,
    "hit-probability": {"zone": {"diameter": "20 cm"}, "group": GROUP} | FAR | BLOWING,
    "pin-spans": {"zone_height": "20 cm", "pins": ["30 m"]} | BLOWING,
    "overshoot": {"target": "50 m"} | BLOWING,
    "arrow-check": FAR | BLOWING,
    "rigid-flight": {"target": "50 m", "body": {"vanes": VANES}} | BLOWING,
    "sight-shift": {"landed": {"up": "3 cm", "arrows": 3}, "distance": "50 m"} | SIGHT | BLOWING,
}


@pytest.fixture(scope="module")
def noting() -> FlaskClient:
    found = Registry.discover()
    registry = Registry.of(Slow, found.get("drag", "constant"), found.get("launch", "measured"))
    return create_app(registry).test_client()


def answer(noting: FlaskClient, path: str, *parts: Body) -> Body:
    body = {name: value for part in (SET_UP, *parts) for name, value in part.items()}
    reply = noting.post(f"/v1/{path}", json=body)
    assert reply.status_code == 200, reply.text
    found: Body = reply.get_json()
    return found


def said(notes: list[Body]) -> dict[str, str]:
    return {note["code"]: note["message"] for note in notes}


@pytest.mark.parametrize("path", CASES)
def test_a_range_that_was_left_is_noted(noting: FlaskClient, path: str) -> None:
    reply = answer(noting, path, CASES[path], SLOW)
    notes = said(reply["notes"])
    assert WORD in notes["drag-range-left"]
    assert "rises to" in notes["drag-range-left"]
    ends = [float(text) for text in notes["flown"].split()]
    figures = [reply["solution"][f"{end}_airspeed"] for end in ("least", "greatest")]
    assert ends == pytest.approx(figures, abs=1e-4)
    kept = said(answer(noting, path, CASES[path], OTHER)["notes"])
    assert not {"drag-range-left", "flown"} & kept.keys()


def test_every_computation_of_flights_is_here(noting: FlaskClient) -> None:
    """Those that ask for a drag model, and document how their flights were solved."""
    document = noting.get("/openapi.json").get_json()
    schemas = document["components"]["schemas"]
    solved = {name for name, one in schemas.items() if "solution" in one.get("properties", {})}
    names = {"".join(word.title() for word in path.split("-")) + "Reply" for path in CASES}
    # A comparison notes lane by lane: tests/api/test_comparison.py; a sweep counts its points:
    # tests/api/test_sweep_counts.py.
    assert solved == names | {"ComparisonReply", "SweepReply"}


@pytest.mark.parametrize("slow_first", [True, False])
def test_each_set_up_speaks_for_itself(noting: FlaskClient, slow_first: bool) -> None:
    first, second = (SLOW, OTHER) if slow_first else (OTHER, SLOW)
    speed = {"launch": {"model": "measured", "parameters": {"speed": "60 m/s"}}}
    case = CASES["setup-change"] | {"second": second | speed}
    reply = answer(noting, "setup-change", case, first)
    told, silent = reply["notes"], reply["second"]["notes"]
    if not slow_first:
        told, silent = silent, told
    notes = said(told)
    assert not {"drag-range-left", "flown"} & said(silent).keys()
    assert WORD in notes["drag-range-left"]
    # Into the wind it starts at about the speed of the set-up and the wind's together.
    fastest = float(notes["flown"].split()[1])
    assert fastest == pytest.approx(
        (80 if slow_first else 60) + 3 * np.cos(np.radians(40)), abs=0.1
    )
