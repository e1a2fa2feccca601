"""Requests generated from the document, and from its examples: every reply is as documented.

Of a computation's requests a third is as the schemas say, a third is not, and a third varies the
worked examples, as few texts made from a pattern ask for anything that can be computed. Each is
sent by POST and again by QUERY, which must answer the same bytes. Of a page's requests a half is
generated, and a half names what there is and varies the headers.
"""

import os
import time
from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from multiprocessing import get_context
from random import Random

from figures import Figure, at_most, seen
from mutations import examples, varied
from progress import Progress
from sizes import PROCESSES, size

EACH = 1000
"""Examples of each operation."""
TOTAL = 20
"""Requests in all, as a multiple of it."""
ONE_TASK = 40
"""Examples of one task at most."""
TURNS = 4
"""How often is made up for examples that could not be generated."""
FORMS = (None, "application/json", "*/*", "image/svg+xml", "application/pdf", "text/csv;q=0.5")
TAGS = (None, None, "*", '"0"', 'W/"0"', "0")
IDS = (None, None, "", "a b", "x" * 300, "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01")
SHOWN = 5


@dataclass
class Found:
    """What tasks have found.

    sent: operation -> examples.  faults: what was not as documented.
    queries: QUERYs sent.  unlike: those that were not answered as the POST was.
    """

    sent: Counter = field(default_factory=Counter)
    statuses: Counter = field(default_factory=Counter)
    faults: Counter = field(default_factory=Counter)
    queries: int = 0
    unlike: Counter = field(default_factory=Counter)
    slowest: float = 0.0

    def add(self, other):
        self.sent += other.sent
        self.statuses += other.statuses
        self.faults += other.faults
        self.queries += other.queries
        self.unlike += other.unlike
        self.slowest = max(self.slowest, other.slowest)


def figures():
    each = size("GENERATED", EACH, least=2)
    operations, found = _run(each)
    least = min(found.sent[index] for index in range(operations))
    yield Figure(
        f"examples of each of {operations} operations", f"{least:,}", f">= {each:,}", least >= each
    )
    total, wanted = found.sent.total() + found.queries, TOTAL * each
    yield Figure("  requests in all", f"{total:,}", f">= {wanted:,}", total >= wanted)
    yield seen("  examples answered 200", found.statuses[200])
    yield at_most("  answered 5xx", sum(n for s, n in found.statuses.items() if s >= 500), 0)
    yield at_most("  replies that are not as documented", found.faults.total(), 0)
    yield seen("  of which sent again by QUERY", found.queries)
    yield at_most("  QUERY answered unlike POST", found.unlike.total(), 0)
    yield seen("  the slowest", found.slowest, " s")
    for fault, count in (found.faults + found.unlike).most_common(SHOWN):
        print(f"{count} x {fault}\n", flush=True)


def _run(each):
    """How many operations there are, and what was found."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    whole = Found()
    with get_context("spawn").Pool(PROCESSES) as pool:
        kinds = pool.apply(_kinds)
        for turn in range(TURNS):
            tasks = list(_tasks(kinds, each, whole.sent, turn))
            progress = Progress(len(tasks), f"tasks of turn {turn + 1}")
            for found in pool.imap_unordered(_task, tasks):
                whole.add(found)
                progress.add()
    return len(kinds), whole


def _tasks(kinds, each, sent, turn):
    """Each operation's missing examples, shared out among its kinds; other ones each turn."""
    for index, of_operation in enumerate(kinds):
        share = -(-(each - sent[index]) // len(of_operation))
        for kind in of_operation:
            for seed in range(0, share, ONE_TASK):
                yield index, kind, min(ONE_TASK, share - seed), f"{turn}.{seed}"


@cache
def _served():
    """The application and the document's operations; made once a process."""
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
    fine = {
        "positive_data_acceptance": {"expected-statuses": ["2xx", "404", "422"]},
        # 413 too, which it does not expect: what is made wrong may be longer than is read.
        "negative_data_rejection": {"expected-statuses": ["4xx"]},
    }
    schema = schemathesis.openapi.from_wsgi(
        "/openapi.json", app, config=SchemathesisConfig.from_dict({"checks": fine})
    )
    # It would leave out where it has the document from, which is an operation as well.
    schema.location = None
    return app, [found.ok() for found in schema.get_all_operations()]


def _kinds():
    """The kinds of requests that there are for each operation."""
    return [
        ("positive", "negative", "varied") if operation.method == "post" else ("positive", "named")
        for operation in _served()[1]
    ]


def _task(given):
    index, kind, count, seed = given
    app, operations = _served()
    tally = _Tally(index, operations[index], app)
    random = Random(f"{tally.operation.label} {seed}")
    if kind == "varied":
        _vary(tally, count, random)
    elif kind == "named":
        _name(tally, count, random)
    else:
        _generate(tally, kind, count, random)
    return tally.found


def _vary(tally, count, random):
    body = examples()[tally.operation.path.rpartition("/")[2]]
    for _ in range(count):
        tally.send(
            tally.operation.Case(
                body=varied(body, random),
                media_type="application/json",
                headers=_headers(random),
            )
        )


def _name(tally, count, random):
    """What there is, or mostly, however often: a page without parameters has but one form."""
    for _ in range(count):
        tally.send(
            tally.operation.Case(
                path_parameters=random.choice(_names(tally.operation.path)),
                query=random.choice(({}, {}, {"x": "1"})),
                headers=_headers(random, TAGS),
            )
        )


def _names(path):
    """Values of the parameters of a path."""
    from arrowloft.api.problems import KINDS

    if "{code}" in path:
        return [{"code": code} for code in (*KINDS, "none-such")]
    if "{kind}" in path:
        names = ("none", "constant", "component", "measured", "energy", "none-such")
        return [{"kind": kind, "name": name} for kind in ("drag", "launch") for name in names]
    return [{}]


def _headers(random, tags=(None,)):
    """tags: none where POST and QUERY are compared, as a condition is a safe method's alone."""
    given = {
        "Accept": random.choice(FORMS),
        "If-None-Match": random.choice(tags),
        "X-Request-Id": random.choice(IDS),
        "traceparent": random.choice(IDS),
    }
    return {name: value for name, value in given.items() if value is not None}


def _generate(tally, kind, count, random):
    """A form that has fewer texts than asked for is sent with what it has, again and again."""
    import hypothesis
    from schemathesis.generation import GenerationMode

    strategy = tally.operation.as_strategy(generation_mode=GenerationMode(kind))
    while (left := count - tally.sent) > 0:

        @hypothesis.seed(random.randrange(2**32))
        @hypothesis.settings(
            max_examples=left,
            deadline=None,
            database=None,
            phases=[hypothesis.Phase.generate],
            suppress_health_check=list(hypothesis.HealthCheck),
        )
        @hypothesis.given(case=strategy)
        def each(case):
            tally.send(case)

        each()
        if tally.sent == count - left:
            return


class _Tally:
    """Sends an operation's requests, and keeps what was not as it must be."""

    def __init__(self, index, operation, app):
        from schemathesis.specs.openapi.checks import (
            allow_header_conformance,
            unsupported_method,
        )

        self.index = index
        self.operation = operation
        self.client = app.test_client()
        self.computes = operation.method == "post"
        # Both take a method that the document does not list for one that must be refused and not
        # be named in Allow. OpenAPI 3.1 cannot list QUERY, which the computations answer and
        # name. What they answer to it is held against POST here; Allow and the refusal of all
        # other methods are held by tests/api: test_negotiation.py, test_bad_input.py.
        self.excluded = [allow_header_conformance, unsupported_method] if self.computes else []
        self.found = Found()

    @property
    def sent(self):
        return self.found.sent[self.index]

    def send(self, case):
        self.found.sent[self.index] += 1
        begin = time.perf_counter()
        try:
            reply = case.call()
        except Exception as error:
            self.found.statuses[599] += 1
            self._fault(repr(error))
            return
        self.found.slowest = max(self.found.slowest, time.perf_counter() - begin)
        self.found.statuses[reply.status_code] += 1
        try:
            case.validate_response(reply, excluded_checks=self.excluded)
        except BaseExceptionGroup as error:
            self._fault(f"{reply.status_code}: {error.exceptions}")
        except AssertionError as error:
            self._fault(f"{reply.status_code}: {error}")
        if self.computes:
            self._query(reply)

    def _query(self, posted):
        """The very same request by the other method."""
        sent = posted.request
        headers = [(n, v) for n, v in sent.headers.items() if n.lower() != "content-length"]
        reply = self.client.open(
            sent.path_url, method="QUERY", data=sent.body or b"", headers=headers
        )
        self.found.queries += 1
        if (reply.status_code, reply.data) != (posted.status_code, posted.content):
            self.found.unlike[
                f"{self.operation.label}: {posted.status_code} {posted.content[:300]!r} by POST, "
                f"{reply.status_code} {reply.data[:300]!r} by QUERY, of {sent.body!r}"[:1500]
            ] += 1

    def _fault(self, text):
        self.found.faults[f"{self.operation.label}: {text}"[:1500]] += 1
