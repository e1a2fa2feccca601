"""The cost of sweeps: set-ups a second from request to columns, whole replies, memory."""

import json
import tracemalloc

import swept
from figures import at_least, at_most, seconds, seen

from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.sweeping import members
from arrowloft.api.sweeping.block import Sweep
from arrowloft.api.sweeping.plan import plan_of
from arrowloft.api.sweeping.table import computed
from arrowloft.plugin.registry import Registry

SETUPS = 100_000
FORMS = {
    "JSON": "application/json",
    "CSV": "text/csv",
    "Arrow": "application/vnd.apache.arrow.stream",
    "Parquet": "application/vnd.apache.parquet",
}


def drawn(pointer, mean, deviation):
    normal = {"mean": mean, "standard_deviation": deviation}
    return {"pointer": pointer, "distribution": {"normal": normal}}


REQUEST = {
    "bow": {"peep_height": "115 mm", "draw_length": "28 in", "brace_height": "8.8 in"},
    "arrow": {
        "mass": "19.4 g",
        "shaft_diameter": "5.4 mm",
        "length": "710 mm",
        "balance_point": "425 mm",
    },
    "launch": {"model": "measured", "parameters": {"speed": "56.5 m/s"}},
    "drag": {"model": "constant", "parameters": {"coefficient": 2.0}},
    "distances": ["50 m"],
    "vary": [
        drawn("/launch/parameters/speed", "56.5 m/s", "0.5 m/s"),
        drawn("/drag/parameters/coefficient", 2.0, 0.1),
        drawn("/arrow/mass", "19.4 g", "0.1 g"),
        drawn("/air/temperature", "16 degC", "2 degC"),
    ],
    "samples": SETUPS,
    "seed": 1,
    "rows": True,
}


def figures():
    registry = Registry.discover()
    schema = members.schema(ModelSchemas.of(registry), 1000)

    def table():
        return computed(Sweep(plan_of(schema, REQUEST, SETUPS), registry))

    spent = seconds(table, 5)
    yield at_least("sweep: set-ups a second a core, to columns", SETUPS / spent, 200_000.0)
    far = REQUEST | {"distances": ["280 m"], "wind": {"speed": "5 m/s", "from": "10 deg"}}
    beyond = seconds(lambda: computed(Sweep(plan_of(schema, far, SETUPS), registry)), 1)
    yield at_most("sweep: 100,000 points far beyond reach, in wind", beyond, 5.0, " s")
    tracemalloc.start()
    columns = table().columns
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    size = sum(column.nbytes for column in columns.values())
    yield at_most("sweep: peak memory / columns, 100,000 set-ups", peak / size, 10.0)
    client = swept.client()
    body = json.dumps(REQUEST)
    for name, form in FORMS.items():
        headers = {"Accept": form, "Content-Type": "application/json"}
        spent = seconds(lambda h=headers: client.post("/v1/sweep", data=body, headers=h), 3)
        yield seen(f"sweep: whole request of 100,000 rows of 8, {name}", spent * 1e3, " ms")
