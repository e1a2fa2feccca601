"""The service under gunicorn: its start, and mark tables against a constant reply.

The load comes from wrk where it is installed. Otherwise a few processes write ready
bytes to raw sockets, one connection a request, as the server's workers close each one;
they cost more than wrk and so make the service look nearer to the constant reply.
"""

import json
import multiprocessing
import re
import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

from figures import at_least, at_most, seen
from proxied import ROOT, served
from wire import exchange, message

SECONDS = 4.0
ROUNDS = 3
CLIENTS = 4
WRK = shutil.which("wrk")

_SIX_ENDS = {
    "observations": [
        {"distance": f"{distance} yd", "up": f"{up} mm", "arrows": 6}
        for distance, up in ((20, 10), (40, -20), (60, 30), (20, -2), (50, 40), (70, 50))
    ],
    "next": {"longest": "70 yd"},
}


def figures():
    yield at_most("import and create the app", _start_seconds(), 1.5, " s")
    yield at_most("plotting libraries imported", _plotting(), 0)
    with service() as port:
        demo, plain = demo_mark_table(), plain_mark_table()
        yield from _ratios(port, {"plain set-up": plain, "demo: wind, component drag": demo})
        yield at_most(
            "/v1/calibration, 6 ends and 81 rows / mark-table, 81 rows, alone",
            milliseconds(port, "calibration", plain | _SIX_ENDS)
            / milliseconds(port, "mark-table", plain),
            15,
        )
        for example in sorted((ROOT / "openapi/examples").glob("*.request.json")):
            name = example.name.removesuffix(".request.json")
            body = json.loads(example.read_text())
            yield seen(f"/v1/{name}, its example, alone", milliseconds(port, name, body), " ms")


def demo_mark_table():
    """The worked example, with 81 rows."""
    demo = json.loads((ROOT / "openapi/examples/mark-table.request.json").read_text())
    return demo | {"distances": {"from": "10 yd", "to": "90 yd", "step": "1 yd"}}


def plain_mark_table():
    """That without wind, and with the models that compute least."""
    plain = {name: part for name, part in demo_mark_table().items() if name != "wind"}
    plain["drag"] = {"model": "constant", "parameters": {"coefficient": 1.9}}
    plain["launch"] = {"model": "measured", "parameters": {"speed": "268 ft/s"}}
    return plain


def _ratios(port, bodies):
    rates = {name: [] for name in bodies}
    base = []
    for _ in range(ROUNDS):
        base.append(_throughput(port, "/constant", None))
        for name, body in bodies.items():
            rates[name].append(_throughput(port, "/v1/mark-table", body))
    yield seen(f"constant JSON, by {'wrk' if WRK else 'own clients'}", max(base), " /s")
    for name, found in rates.items():
        ratio = sorted(a / b for a, b in zip(found, base, strict=True))[ROUNDS // 2]
        yield seen(f"/v1/mark-table, 81 rows, {name}", max(found), " /s")
        if name.startswith("plain"):
            yield at_least(f"/v1/mark-table / constant JSON, {name}", ratio, 0.3)
        else:
            yield seen(f"/v1/mark-table / constant JSON, {name}", ratio)


def milliseconds(port, name, body, accept="application/json"):
    """Least time from request to reply, one at a time."""
    request = message("POST", f"/v1/{name}", body, {"Accept": accept})
    best = float("inf")
    for _ in range(20):
        start = time.perf_counter()
        _answered(port, request)
        best = min(best, time.perf_counter() - start)
    return 1e3 * best


def _start_seconds():
    code = "import time; t = time.perf_counter(); from arrowloft.app import create_app;"
    code += " create_app(); print(time.perf_counter() - t)"
    runs = [
        float(subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout)
        for _ in range(5)
    ]
    return sorted(runs)[2]


def _plotting():
    code = "import sys; from arrowloft.app import create_app; create_app();"
    code += " print(sum(m in sys.modules for m in ('matplotlib', 'reportlab', 'segno')))"
    return int(subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout)


@contextmanager
def service(workers=2):
    """The port of an instance that answers /constant as well."""
    settings = {"ARROWLOFT_WORKERS": str(workers), "ARROWLOFT_LOG_LEVEL": "error"}
    bench = Path(__file__).parent
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder), settings, ["constant_app:create()"], [bench]) as instance,
    ):
        yield instance.port


def _answered(port, request):
    reply = exchange(port, request)
    if reply.status != 200:
        raise OSError(f"{reply.status} {reply.body[:200]!r}")


def _throughput(port, path, body):
    """Replies a second with a few clients at once."""
    if WRK:
        return _wrk(port, path, body)
    request = message("GET" if body is None else "POST", path, body)
    with multiprocessing.Pool(CLIENTS) as pool:
        counts = pool.starmap(_client, [(port, request)] * CLIENTS)
    return sum(counts) / SECONDS


def _wrk(port, path, body):
    url = f"http://127.0.0.1:{port}{path}"
    command = [WRK, "-t1", f"-c{2 * CLIENTS}", f"-d{SECONDS:.0f}s", "--timeout", "10s"]
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as script:
        if body is not None:
            script.write('wrk.method = "POST"\nwrk.headers["Content-Type"] = "application/json"\n')
            script.write(f"wrk.body = [==[{json.dumps(body)}]==]\n")
            script.flush()
            command += ["-s", script.name]
        said = subprocess.run([*command, url], capture_output=True, text=True, check=True).stdout
    if "Non-2xx" in said or "Socket errors" in said:
        sys.exit(f"arrowloft: the service did not answer every request:\n{said}")
    return float(re.search(r"Requests/sec:\s*([\d.]+)", said)[1])


def _client(port, request):
    done = 0
    end = time.monotonic() + SECONDS
    while time.monotonic() < end:
        _answered(port, request)
        done += 1
    return done
