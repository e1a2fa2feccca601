"""The service under load: every endpoint, more clients, more workers, and twice what it can do.

Rates stand as ratios to a constant reply through the same server, measured just before. The
closed load comes from wrk where it is installed, else from clients of our own, which cost more.
Twice the saturating load is an open one: requests come when they are due, answered or not.
"""

import json
import math
import re
import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import load_client
from figures import Figure, at_least, at_most, seen
from proxied import NGINX, proxy
from serving import ROOT, WRK, plain_mark_table, service
from wire import exchange, message

SHORT = 2.0  # seconds of a measurement
CLIENTS = (1, 4, 16, 64)
WORKERS = (1, 2, 4)
USUAL_CLIENTS, USUAL_WORKERS = 8, 2
LONG = 8.0  # seconds of load beyond what can be done
MANY = 256  # clients that ask then, so that none waits for another
DEADLINE = 4.0  # seconds after which a reply is of no use: waited 3 s, and computed 1 s
GOODPUT = 0.8  # of the peak


@dataclass(frozen=True, kw_only=True)
class Held:
    """Good replies a second, replies that were refused as such, and quantiles of the time, ms."""

    rate: float
    refused: int
    median: float
    most: float


def figures():
    with tempfile.TemporaryDirectory() as folder:
        yield from _endpoints()
        for workers in WORKERS:
            yield from _grid(workers)
        yield from _saturated(Path(folder))


def _endpoints():
    """Each endpoint with its worked example."""
    with service(USUAL_WORKERS) as port:
        for example in sorted((ROOT / "openapi/examples").glob("*.request.json")):
            name = example.name.removesuffix(".request.json")
            constant = _closed(port, "/constant", None, USUAL_CLIENTS)
            held = _closed(port, f"/v1/{name}", json.loads(example.read_text()), USUAL_CLIENTS)
            yield _line(f"/v1/{name}, its example", held, constant)


def _grid(workers):
    """A mark table by many clients at once."""
    with service(workers) as port:
        for clients in CLIENTS:
            constant = _closed(port, "/constant", None, clients)
            held = _closed(port, "/v1/mark-table", plain_mark_table(), clients)
            name = f"{workers} workers, {clients} clients"
            yield seen(f"constant JSON, {name}", constant.rate, " /s")
            yield _line(f"/v1/mark-table, 81 rows, {name}", held, constant)


def _saturated(folder):
    """Twice what can be done, straight at the server and through nginx."""
    body = json.loads((ROOT / "openapi/examples/calibration.request.json").read_text())
    asks = {"calibration": body, "mark-table, 81 rows": plain_mark_table()}
    with service(USUAL_WORKERS) as port:
        for name, asked in asks.items():
            yield from _overloaded(port, name, asked, "straight")
    if NGINX is None:
        yield Figure("nginx is not installed: nothing was measured through it", "", "", True)
        return
    with (
        service(1) as first,
        service(1) as second,
        # How often one address may ask is not what is measured.
        proxy(folder / "nginx", [first, second], rates="", bursts="") as front,
    ):
        for name, asked in asks.items():
            yield from _overloaded(front.port, name, asked, "through nginx")


def _overloaded(port, name, body, way):
    path = f"/v1/{name.partition(',')[0]}"
    ask = load_client.Ask(message=message("POST", path, body))
    # The same clients for both, as they take their share of the machine.
    peak = load_client.run(port, [ask], clients=2 * USUAL_CLIENTS, processes=2, seconds=LONG / 2)
    twice = load_client.run(
        port, [ask], clients=MANY, processes=2, rate=2.0 * peak.rate, seconds=LONG
    )
    good = sum(latency <= DEADLINE for latency in twice.right_latencies) / twice.seconds
    told = f"{path}, twice the load, {way}"
    yield seen(f"{path}, peak, {way}", peak.rate, " /s")
    yield at_least(f"{told}: good replies / peak", good / peak.rate, GOODPUT)
    yield seen(f"{told}: asked / peak", twice.asked / twice.seconds / peak.rate)
    yield seen(f"{told}: refused (503) / asked", twice.statuses[503] / twice.asked)
    yield seen(f"{told}: 99 % of replies within", 1e3 * twice.latency(0.99), " ms")
    others = twice.asked - twice.right - twice.statuses[503]
    yield at_most(f"{told}: lost, or neither 200 nor 503", others, 0)


def _line(name, held, constant):
    """One line of the table with all that was measured of one load."""
    text = f"{held.rate / constant.rate:.3g} of constant, {held.rate:,.3g} /s"
    text += f", p50 {held.median:.3g} ms, p99 {held.most:.3g} ms"
    if held.refused:
        text += f", {held.refused} refused"
    return Figure(name, text, "", True)


def _closed(port, path, body, clients):
    """As many clients, each of which asks anew once it is answered."""
    # The load before has left without its last replies, which are computed nevertheless.
    exchange(port, message("GET", "/healthz"), patience=60.0)
    request = message("GET" if body is None else "POST", path, body)
    begin = time.monotonic()
    exchange(port, request, patience=60.0)
    # Long enough for each client to be answered a few times, also where a reply takes long.
    seconds = min(LONG, max(SHORT, 3.0 * clients * (time.monotonic() - begin)))
    held = (_by_wrk if WRK else _by_own)(port, path, body, clients, math.ceil(seconds))
    if not held.rate:
        raise SystemExit(f"arrowloft: no good reply to {path} within {seconds:.0f} s")
    return held


def _by_own(port, path, body, clients, seconds):
    ask = load_client.Ask(message=message("GET" if body is None else "POST", path, body))
    found = load_client.run(port, [ask], clients=clients, seconds=seconds)
    return Held(
        rate=found.rate,
        refused=found.statuses[503],
        median=1e3 * found.latency(0.5),
        most=1e3 * found.latency(0.99),
    )


def _by_wrk(port, path, body, clients, seconds):
    lines = ["function done(all, latency, requests)"]
    lines += ['  io.write(string.format("%d %d %d %d %d %d %d\\n", all.duration, all.requests,']
    lines += ["    all.errors.status, latency:percentile(50), latency:percentile(99),"]
    lines += ["    all.errors.connect + all.errors.read + all.errors.write, all.errors.timeout))"]
    lines += ["end"]
    if body is not None:
        lines += ['wrk.method = "POST"', 'wrk.headers["Content-Type"] = "application/json"']
        lines += [f"wrk.body = [==[{json.dumps(body)}]==]"]
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as script:
        script.write("\n".join(lines))
        script.flush()
        command = [WRK, "-t1", f"-c{clients}", f"-d{seconds}s", "--timeout", "10s"]
        url = f"http://127.0.0.1:{port}{path}"
        said = subprocess.run(
            [*command, "-s", script.name, url], capture_output=True, text=True, check=True
        ).stdout
    (numbers,) = re.findall(r"^((?:\d+ ){6}\d+)$", said, re.MULTILINE)
    microseconds, asked, refused, median, most, broken, late = map(int, numbers.split())
    if broken or late:
        raise SystemExit(f"arrowloft: the service did not answer every request:\n{said}")
    return Held(
        rate=1e6 * (asked - refused) / microseconds,
        refused=refused,
        median=median / 1e3,
        most=most / 1e3,
    )
