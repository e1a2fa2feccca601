"""Two instances behind nginx, which are killed, stopped and started anew on the same ports."""

import tempfile
from contextlib import contextmanager
from pathlib import Path

from load_client import Ask
from processes import PATIENCE, free_port
from proxied import NGINX, Instance, proxy
from wire import exchange, message

STARTING = 200.0
"""Seconds that a start may take, however laden the machine is."""
WORKERS = 2


@contextmanager
def pair(settings=None, folders=(), options=(), metrics=False, **front):
    """Two instances, and nginx in front of them: (instances, nginx).

    metrics: whether each counts, on a port of its own.  front: goes to `proxied.proxy`.
    """
    if NGINX is None:
        raise RuntimeError("nginx is not installed")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        folder = Path(name)
        settings = {"ARROWLOFT_WORKERS": str(WORKERS), **(settings or {})}
        instances = [Instance(folder / n, settings, options, folders) for n in ("a", "b")]
        try:
            for instance in instances:
                if metrics:
                    instance.settings["ARROWLOFT_METRICS_PORT"] = str(free_port())
                instance.start(patience=STARTING)
            # All clients are one address here, and ask as often as they can.
            front = {"rates": ""} | front
            with proxy(folder / "nginx", [each.port for each in instances], **front) as nginx:
                yield instances, nginx
        finally:
            for instance in instances:
                instance.end()


def computed(port, names=("mark-table",)):
    """POST and QUERY of worked examples, with the bytes that each must be answered."""
    from mutations import examples

    asks = []
    for name in names:
        for method in ("POST", "QUERY"):
            sent = message(method, f"/v1/{name}", examples()[name])
            reply = exchange(port, sent, PATIENCE)
            if reply.status != 200:
                raise RuntimeError(f"{name}: {reply.status} {reply.body[:300]!r}")
            asks.append(Ask(message=sent, body=reply.body))
    return asks
