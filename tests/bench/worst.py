"""The largest requests found for each resource: processor time until they are answered or refused.

In one process, without HTTP, so that what other programs do counts least.
"""

import json
import time

import worst_requests
from figures import at_most

from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.operation.settings import Settings

WANTED = 1.0
"""Seconds that the worst valid request may take, and that the refusal of a larger one may."""
REPEATS = 3


def figures():
    patient = Settings(limits=Limits(seconds=60.0))
    client = create_app(settings=patient).test_client()
    for status, found in ((200, worst_requests.answered()), (422, worst_requests.refused())):
        for one in found:
            name = f"/v1/{one.resource}, {one.name}, {status}"
            yield at_most(name, _seconds(client, one, status), WANTED, " s")


def _seconds(client, one, status):
    raw = json.dumps(one.body).encode()
    best = float("inf")
    for _ in range(REPEATS):
        start = time.process_time()
        reply = client.post(
            one.path,
            data=raw,
            content_type="application/json",
            headers={"Accept": one.form},
        )
        best = min(best, time.process_time() - start)
        if reply.status_code != status:
            raise SystemExit(f"arrowloft: {one.resource}, {one.name}: {reply.text[:300]}")
    return best
