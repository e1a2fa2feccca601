"""How the service is run: gunicorn's settings; see `gunicorn --help` for each."""

import math
import os
from pathlib import Path

# One worker is one core's share: numeric libraries that start threads of their own
# would only fight over it. They read these when numpy is imported, so: before that.
for _library in ("OMP", "OPENBLAS", "MKL", "BLIS", "NUMEXPR"):
    os.environ[f"{_library}_NUM_THREADS"] = "1"
os.environ["VECLIB_MAXIMUM_THREADS"] = "1"

from arrowloft.operation.settings import Settings  # noqa: E402

wsgi_app = "arrowloft.app:service()"
bind = f"127.0.0.1:{os.environ.get('ARROWLOFT_PORT', '8080')}"

# Requests take milliseconds of computing and no waiting: one at a time a worker is
# fastest, and the only kind of worker that is ended when a request hangs.
worker_class = "sync"
workers = int(os.environ.get("ARROWLOFT_WORKERS", min(4, max(2, os.cpu_count() or 2))))

# Loaded once, before the workers: a model that breaks the contract stops the start.
preload_app = True
# The service ends a request itself, at half of this, and answers it. What cannot be ended so,
# such as a model that sits in C code, ends with its worker.
timeout = max(10, math.ceil(2.0 * Settings.from_environment(os.environ).limits.seconds))
graceful_timeout = 10
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None

# No way in but HTTP.
control_socket_disable = True

limit_request_line = 2048
limit_request_fields = 64
limit_request_field_size = 4096

accesslog = None
errorlog = "-"
loglevel = os.environ.get("ARROWLOFT_LOG_LEVEL", "warning")


def when_ready(_server: object) -> None:
    """Once, before the workers, who share what is imported: else each one's first picture waits.

    Who calls meanwhile is not refused: the socket is open, and the workers answer soon after.
    """
    from arrowloft.pictures.frame import prepare

    prepare()
