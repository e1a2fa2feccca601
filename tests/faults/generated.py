"""Requests generated from the document, and from its examples: every reply is as documented.

A third is as the schemas say, a third is not, and a third varies the worked examples, as few
texts made from a pattern ask for anything that can be computed.
"""

import os
import time
from collections import Counter
from functools import cache
from multiprocessing import get_context
from random import Random

from figures import Figure, at_most, seen
from mutations import examples, varied
from sizes import PROCESSES, size

ONE_TASK = 40
"""Requests of one task at most."""
FORMS = (None, "application/json", "*/*", "image/svg+xml", "application/pdf", "text/csv;q=0.5")
SHOWN = 5


def figures():
    wanted = size("GENERATED", 20_000)
    statuses, faults, slowest = _run(wanted)
    sent = statuses.total()
    yield Figure("requests generated", f"{sent:,}", f">= {wanted:,}", sent >= wanted)
    yield seen("  of which answered 200", statuses[200])
    yield at_most("  answered 5xx", sum(n for s, n in statuses.items() if s >= 500), 0)
    yield at_most("  replies that are not as documented", faults.total(), 0)
    yield seen("  the slowest", slowest, " s")
    for fault, count in faults.most_common(SHOWN):
        print(f"{count} x {fault}\n", flush=True)


def _run(wanted):
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with get_context("spawn").Pool(PROCESSES) as pool:
        operations = pool.apply(_kinds)
        statuses, faults, slowest = Counter(), Counter(), 0.0
        rounds = _Rounds(operations, wanted)
        for found, wrong, worst in pool.imap_unordered(_task, rounds):
            statuses += found
            faults += wrong
            slowest = max(slowest, worst)
            rounds.sent += found.total()
    return statuses, faults, slowest


class _Rounds:
    """Tasks, every operation and kind in turn, until enough requests have been sent."""

    def __init__(self, operations, wanted):
        self.operations = operations
        self.wanted = wanted
        self.sent = self.planned = 0

    def __iter__(self):
        seed = 0
        each = max(2, min(ONE_TASK, self.wanted // (3 * len(self.operations))))
        while self.sent < self.wanted:
            for index, kinds in enumerate(self.operations):
                for kind in kinds:
                    yield index, kind, each, seed
                    # Tasks are taken as fast as they are made: not many more than are needed.
                    self.planned += each
                    while self.planned > self.sent + 2 * ONE_TASK * PROCESSES * each:
                        if self.sent >= self.wanted:
                            return
                        time.sleep(0.05)
                if self.sent >= self.wanted:
                    return
            seed += 1


@cache
def _operations():
    """The document's operations; made once a process."""
    import schemathesis
    from schemathesis.config import SchemathesisConfig

    from arrowloft.api.resource import Limits
    from arrowloft.app import create_app
    from arrowloft.operation.settings import Settings
    from arrowloft.pictures.frame import prepare

    # As deploy/gunicorn.conf.py does; and the time counts by the clock, which others share.
    prepare()
    app = create_app(settings=Settings(limits=Limits(seconds=10.0 * Limits.seconds)))
    # As in tests/api/test_fuzz.py: a valid form may still ask for what cannot be.
    fine = {"positive_data_acceptance": {"expected-statuses": ["2xx", "404", "422"]}}
    schema = schemathesis.openapi.from_wsgi(
        "/openapi.json", app, config=SchemathesisConfig.from_dict({"checks": fine})
    )
    return [found.ok() for found in schema.get_all_operations()]


def _kinds():
    """The kinds of requests that there are for each operation."""
    return [
        ("positive", "negative", "varied") if operation.method == "post" else ("positive",)
        for operation in _operations()
    ]


def _task(given):
    index, kind, count, seed = given
    operation = _operations()[index]
    tally = _Tally(operation)
    if kind == "varied":
        random = Random(f"{operation.path} {seed}")
        body = examples()[operation.path.rpartition("/")[2]]
        for _ in range(count):
            accept = random.choice(FORMS)
            headers = {"Accept": accept} if accept else {}
            tally.send(
                operation.Case(
                    body=varied(body, random), media_type="application/json", headers=headers
                )
            )
    else:
        _generate(operation, kind, count, seed, tally)
    return tally.statuses, tally.faults, tally.slowest


def _generate(operation, kind, count, seed, tally):
    import hypothesis
    from schemathesis.generation import GenerationMode

    @hypothesis.seed(seed)
    @hypothesis.settings(
        max_examples=count,
        deadline=None,
        database=None,
        phases=[hypothesis.Phase.generate],
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    @hypothesis.given(case=operation.as_strategy(generation_mode=GenerationMode(kind)))
    def each(case):
        tally.send(case)

    each()


class _Tally:
    def __init__(self, operation):
        from schemathesis.specs.openapi.checks import (
            allow_header_conformance,
            unsupported_method,
        )

        self.label = operation.label
        # OpenAPI 3.1 cannot list QUERY, which the computations answer and name in Allow.
        more = "x-query" in operation.definition.raw
        self.excluded = [allow_header_conformance, unsupported_method] if more else []
        self.statuses, self.faults, self.slowest = Counter(), Counter(), 0.0

    def send(self, case):
        begin = time.perf_counter()
        try:
            reply = case.call()
        except Exception as error:
            self.statuses[599] += 1
            self.faults[f"{self.label}: {error!r}"[:1500]] += 1
            return
        self.slowest = max(self.slowest, time.perf_counter() - begin)
        self.statuses[reply.status_code] += 1
        try:
            case.validate_response(reply, excluded_checks=self.excluded)
        except BaseExceptionGroup as error:
            self.faults[f"{self.label}: {error.exceptions}"[:1500]] += 1
        except AssertionError as error:
            self.faults[f"{self.label}: {error}"[:1500]] += 1
