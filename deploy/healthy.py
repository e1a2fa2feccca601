"""healthy.py [PATH] [SECONDS]: exits 0 once the instance on ARROWLOFT_PORT answers PATH with 200.

PATH is /healthz, /readyz for whether it computes rightly. It is asked again for SECONDS, 0 by
default: once. For containers, which have no other client, and units, whose start is over then.
"""

import os
import sys
import time
from http.client import HTTPConnection, HTTPException

PATIENCE = 9.0
"""Seconds that one answer may take: a busy worker ends what it is at first."""


def main(arguments: list[str]) -> int:
    """Ask until it answers, or the time is over."""
    path = arguments[0] if arguments else "/healthz"
    end = time.monotonic() + (float(arguments[1]) if len(arguments) > 1 else 0.0)
    while not answers(path):
        if time.monotonic() >= end:
            return 1
        time.sleep(0.1)
    return 0


def answers(path: str) -> bool:
    """Whether the instance answers this path with 200."""
    port = int(os.environ.get("ARROWLOFT_PORT") or 8080)
    connection = HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
    try:
        connection.request("GET", path)
        return connection.getresponse().status == 200
    except (OSError, HTTPException):
        return False
    finally:
        connection.close()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
