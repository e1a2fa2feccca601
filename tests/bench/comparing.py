"""The cost of models side by side, in mark tables of as many rows: in the core, and as requests."""

import numpy as np
from figures import at_most, seconds, seen
from flask import Flask
from setups import drag_laws, law, plain_shot

from arrowloft.api import problems
from arrowloft.api.comparing import comparison
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sight import mark_table as mark_table_resource
from arrowloft.core.comparing.partings import parting_by_height
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.comparing.side_by_side import side_by_side
from arrowloft.core.setup.laws import LawsByLane
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight, Thread
from arrowloft.plugin.registry import Registry

YARD = 0.9144
ROWS = np.linspace(10.0, 90.0, 81) * YARD
SIGHT = Sight(
    radius=0.84,
    zero_distance=20.0 * YARD,
    elevation=Thread(travel_per_turn=0.00125, clicks_per_turn=10),
)
EIGHT = np.linspace(1.5, 2.2, 8)


def figures():
    laws = [law("constant", coefficient=value) for value in EIGHT]
    yield at_most("8 models x 81 distances / 81 marks", _cost(laws, [()] * 8), 8.0)
    _, every, kinks = zip(*drag_laws(), strict=True)
    yield seen(f"the {len(every)} installed models x 81 distances / 81 marks", _cost(every, kinks))
    whole, table = _request_cost()
    yield seen("the same 8 as a request", whole * 1e3, " ms")
    yield seen("the same 8 as a request / a request for 81 marks", whole / table)


def _cost(laws, kinks):
    """Models with their partings, in the time of a mark table: the median of five turns."""
    setups = Setups.of(plain_shot(LawsByLane.repeated(laws, 1)), kinks)
    one = plain_shot(law())

    def compared():
        table = side_by_side(setups, ROWS, sight=SIGHT, speed_uncertainty=0.3, drag_uncertainty=0.1)
        return parting_by_height(table.aimed, 0.01)

    pairs = [
        (seconds(compared, 40), seconds(lambda: mark_table(one, SIGHT, ROWS), 40)) for _ in range(5)
    ]
    return float(np.median([ours / marks for ours, marks in pairs]))


def _request_cost():
    """Seconds of a request for eight models, and of one for a mark table."""
    edge, app = Edge.of(Registry.discover(), Limits()), Flask("comparing")
    for made in (comparison, mark_table_resource):
        made.resource(edge).install(app)
    problems.install(app)
    client = app.test_client()
    shared = {
        "bow": {"peep_height": "117 mm", "launch_forward": "860 mm"},
        "arrow": {"mass": "24.6 g", "shaft_diameter": "5.8 mm", "tip_lead": "310 mm"},
        "sight": {
            "radius": "840 mm",
            "zero_distance": "20 yd",
            "travel_per_turn": "1.25 mm",
            "clicks_per_turn": 10,
        },
        "distances": {"from": "10 yd", "to": "90 yd", "step": "1 yd"},
    }
    launch = {"model": "measured", "parameters": {"speed": "84 m/s"}}
    drags = [
        {"label": f"{c:.1f}", "model": "constant", "parameters": {"coefficient": c}} for c in EIGHT
    ]

    def asked(path, **models):
        reply = client.post(path, json=shared | models)
        assert reply.status_code == 200, reply.get_data(as_text=True)

    return (
        seconds(lambda: asked("/v1/comparison", launches=[launch], drags=drags), 20),
        seconds(
            lambda: asked(
                "/v1/mark-table",
                launch=launch,
                drag={"model": "constant", "parameters": {"coefficient": 1.9}},
            ),
            20,
        ),
    )
