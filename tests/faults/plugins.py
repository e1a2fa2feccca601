"""Strangers' models that do harm: their own requests fail, with a problem that names them.

Others ask for other models all the while, and are served.
"""

import json
import tempfile
import time
from pathlib import Path

from figures import Figure, at_most, seen
from instances import computed, pair
from load_client import start
from processes import family, memory, wait_until
from sizes import size
from strangers import Distribution, demo_request
from wire import exchange, message

HERE = Path(__file__).parent / "misbehaving"
NAMED = {
    "raises": "Raises",
    "recurses": "Recurses",
    "nan": "NoNumber",
    "mutates": "Mutates",
    "hangs-in-python": "HangsInPython",
}
"""Harm that the service itself ends, and answers for."""
UNNAMED = {
    "mutates-by-force": "MutatesByForce",
    "hangs-in-c": "HangsInC",
    "crashes": "Crashes",
}
"""Harm that is not known as a model's: the limit of time ends it, or the worker with it."""
MOST_LOST = {"hangs-in-c": 1, "crashes": 2, "mutates-by-force": 2}
"""Workers: nginx asks one other instance for what ended its worker, but not for what was
answered, as by the guardian of a worker that hangs."""
SETTLED = 4.0
LIMIT = 5.0
RATE = 10.0
RECYCLED = 500
"""Requests after which a worker is replaced here, so that the leak ends with it."""


def figures():
    models = {**NAMED, **UNNAMED, "leaks": "Leaks"}
    with tempfile.TemporaryDirectory() as name:
        laid = Path(name)
        points = {f"harm-{name}": f"misbehaving_drag:{made}" for name, made in models.items()}
        Distribution("misbehaving", drag=points).lay_down(laid)
        settings = {"ARROWLOFT_WORKER_REQUESTS": str(RECYCLED)}
        with pair(settings, [laid, HERE]) as (instances, front):
            asks = computed(front.port)
            with start(
                front.port, asks, clients=4, rate=RATE, seconds=900.0, patience=40.0
            ) as load:
                for harm in NAMED:
                    yield _named(front.port, f"harm-{harm}")
                for harm in UNNAMED:
                    yield from _unnamed(instances, front.port, f"harm-{harm}")
                yield from _leaking(instances, front.port)
                found = load.stop()
    yield seen("others' requests beside all of it", found.asked)
    yield at_most("  lost or wrong", found.failures, 0)
    yield seen("  the latest", found.latency(1.0), " s")
    if found.failures:
        print(f"  others: {found}", flush=True)


def _asked(name):
    body = demo_request() | {"drag": {"model": name}}
    return message("POST", "/v1/mark-table", body)


def _named(port, name):
    """Answered as the model's fault, in time, and without what the model said."""
    begin = time.monotonic()
    reply = exchange(port, _asked(name), 60.0)
    passed = time.monotonic() - begin
    said = json.loads(reply.body)
    # A model may well write where it was let; then others' replies show that no harm was done.
    met = (
        reply.status == 500
        and said.get("type") == "/problems/model-fault"
        and said.get("model") == name
        and b"secret" not in reply.body
        and passed <= LIMIT + 1.0
    )
    return Figure(f"{name}", f"{reply.status} {said.get('model')}, {passed:.1f} s", "named", met)


def _unnamed(instances, port, name):
    """Answered with a problem, by the proxy where two workers are gone; others take their place."""
    before = {worker for instance in instances for worker in instance.workers()}
    begin = time.monotonic()
    reply = exchange(port, _asked(name), 60.0)
    passed = time.monotonic() - begin
    # The second worker may be ended a little after nginx has given it up.
    time.sleep(SETTLED)
    wait_until(lambda: sum(len(each.workers()) for each in instances) >= len(before), 10.0)
    after = {worker for instance in instances for worker in instance.workers()}
    said = json.loads(reply.body)
    yield Figure(
        name,
        f"{reply.status} {said['type']}",
        "a problem",
        reply.status in (422, 500, 502, 503) and said["type"].startswith("/problems/"),
    )
    yield at_most("  workers lost", len(before - after), MOST_LOST[name.removeprefix("harm-")])
    yield at_most("  answered after", passed, LIMIT + 3.0, " s")


def _leaking(instances, port):
    """Memory while a model leaks: a worker that is replaced gives back what it held."""
    count = size("LEAK", 3 * RECYCLED, least=50)
    asked = _asked("harm-leaks")
    before = _held(instances)
    peak, wrong = before, 0
    for turn in range(count):
        wrong += exchange(port, asked, 60.0).status != 200
        if turn % 50 == 0:
            peak = max(peak, _held(instances))
    yield at_most(f"harm-leaks: failures of {count}", wrong, 0)
    yield seen("  memory of all processes before", before, " MB")
    yield seen("  at the highest", peak, " MB")


def _held(instances):
    """Proportional memory of all processes, MB."""
    total = 0.0
    for instance in instances:
        for process in family(instance.master):
            try:
                total += memory(process)[0]
            except OSError:
                continue  # it has just ended
    return total
