"""How the service is run: gunicorn's settings; see `gunicorn --help` for each.

Its variables, and all others, are those of `arrowloft.operation.settings`; the README lists them.
"""

import atexit
import gc
import math
import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

# One worker is one core's share: numeric libraries that start threads of their own
# would only fight over it. They read these when numpy is imported, so: before that.
for _library in ("OMP", "OPENBLAS", "MKL", "BLIS", "NUMEXPR"):
    os.environ[f"{_library}_NUM_THREADS"] = "1"
os.environ["VECLIB_MAXIMUM_THREADS"] = "1"

# Libraries want a folder to write to; where no file can be written there is still memory.
try:
    tempfile.gettempdir()
except FileNotFoundError:
    os.environ["TMPDIR"] = "/dev/shm"

from arrowloft.operation import metrics_process, start  # noqa: E402
from arrowloft.operation.settings import BadSetting  # noqa: E402

_settings, _keys = start.in_force(os.environ)
# None: no port for metrics is named. Made before the service is imported, which would keep its
# counts in each worker alone otherwise.
_metrics = (
    None
    if _settings.metrics_port is None
    else metrics_process.kept(_settings.metrics_bind, _settings.metrics_port, _settings.keys_file)
)

from arrowloft.operation import request_log  # noqa: E402


def _cores() -> int:
    """Those that this process may use: a container may have fewer than the machine."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 2


wsgi_app = "arrowloft.app:service()"

# This machine only, unless told otherwise: sync workers are starved by a few slow callers, so
# nothing but a proxy that buffers may talk to them.
_address = _settings.bind
bind = f"{f'[{_address}]' if ':' in _address else _address}:{_settings.port}"

# Requests take milliseconds of computing and no waiting: one at a time a worker is
# fastest, and the only kind of worker that is ended when a request hangs.
worker_class = "arrowloft.operation.worker.Worker"
workers = _settings.workers or min(4, max(2, _cores()))

# Connections that the kernel holds until a worker is free. The service itself turns requests
# away long before (ARROWLOFT_WAITING); beyond this the kernel would drop them without a word.
backlog = 2048

# Loaded once, before the workers: a model that breaks the contract stops the start.
preload_app = True

# The service ends a request itself, at half of this, and answers it. What cannot be ended so,
# such as a model that sits in C code, a worker's guardian answers before this ends the worker.
timeout = max(10, math.ceil(2.0 * _settings.limits.seconds))
# What is being computed when a stop is asked for is answered, however long it may take.
graceful_timeout = timeout
# Workers say by the time of a file that they are alive; on a disk that hangs they could not.
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None

# A model that leaks costs no more than this many requests' worth. Rarely, as a new worker
# computes some things anew; unevenly, so that not all workers are replaced at once.
max_requests = _settings.worker_requests
max_requests_jitter = max_requests // 10

# No way in but HTTP.
control_socket_disable = True

# Paths and headers of real requests take a tenth of these; what is larger is refused before it
# is kept in memory.
limit_request_line = 2048
limit_request_fields = 64
limit_request_field_size = 4096

# Nobody is believed about who asks, or by which scheme or path: `operation.proxies` reads what
# the trusted proxies say, where ARROWLOFT_PROXIES names some.
forwarded_allow_ips = ""
secure_scheme_headers: dict[str, str] = {}
forwarder_headers = ""
proxy_protocol = "off"
# X_Request_Id would become the same variable as X-Request-Id.
header_map = "drop"

# The service writes its own line for each request, with ids and without what callers wrote.
accesslog = None
errorlog = "-"
loglevel = _settings.log_level
logconfig_dict = request_log.configuration(_settings.log_format, loglevel)


def on_starting(server: Any) -> None:
    """Once, before the workers, who share what is imported: else each one's first picture waits.

    Before the socket is open, too: a proxy is refused at once and asks another instance, where
    it would have to wait otherwise.
    """
    from arrowloft.pictures.frame import prepare

    # A master that takes another's place finds the port taken until that one ends.
    if _metrics is not None and "GUNICORN_PID" not in os.environ:
        try:
            _metrics.require_port()
        except BadSetting as error:
            start.refuse(error, os.environ)
    start.tell(_settings, workers, _keys)
    prepare()
    # By these a worker says that it cannot even begin, which ends the master. They are 3 and 4
    # otherwise, by which a model might end a worker in the midst of its work.
    server.WORKER_BOOT_ERROR, server.APP_LOAD_ERROR = 213, 214
    # What is there now stays: the workers' garbage collectors leave it alone. They would write
    # to all of it otherwise, so that each worker had a copy of its own before long; and one that
    # ends would go through all of it first, which takes a busy machine seconds.
    gc.collect()
    gc.freeze()


def when_ready(server: Any) -> None:
    """The socket is open."""
    from arrowloft.operation import succession

    server.manage_workers = succession.handing_over(server)
    server.reload = start.reloading(server, os.environ)
    if _metrics is not None:
        _metrics.start()
        # No hook is called now and then; this is, once a second.
        murder_workers = server.murder_workers

        def look_after_children() -> None:
            _metrics.look()
            murder_workers()

        server.murder_workers = look_after_children


def post_fork(_server: Any, worker: Any) -> None:
    """In a new worker: what cannot be shared with the others is its own from here on."""
    from arrowloft.operation import access, observing
    from arrowloft.operation.admission import Admission

    # A folder of the plotting library's, made for want of another, is the master's to remove.
    atexit.unregister(shutil.rmtree)
    access.forked(worker.app.wsgi())
    observing.forked(worker.app.wsgi())
    listening = [listener.sock for listener in worker.sockets]
    worker.admission = Admission(listening=listening, most=_settings.waiting)


def post_worker_init(worker: Any) -> None:
    """A new worker is about to serve: from here on its guardian looks after it."""
    from arrowloft.operation import lookout, observing

    def count(method: str) -> None:
        observing.hung(worker.app.wsgi(), method)

    worker.lookout = lookout.start(_settings.limits.seconds, count)


def worker_exit(_server: Any, worker: Any) -> None:
    """A worker is about to end; the master calls this too, for one that it finds gone."""
    from arrowloft.operation import succession

    if worker.pid == os.getpid():
        succession.end_at_once()


def child_exit(server: Any, worker: Any) -> None:
    """A worker has ended, in whatever way: what it was computing is computed no more."""
    if _metrics is not None:
        try:
            _metrics.dead(worker.pid)
        except Exception:
            # It would end the master, and all workers with it.
            server.log.exception("the counts of a worker that ended could not be kept")


def on_exit(_server: Any) -> None:
    """All workers have ended."""
    if _metrics is not None:
        _metrics.stop()
