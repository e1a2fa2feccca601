"""Spoilt bodies on the parser of every computation: refused as documented, never slowly.

A tenth comes from atheris, where it is installed, which looks for bodies that reach new code of
the edge; its mutations are mixed with our own, which know what a request is made of. All others
are our own changes of the worked examples, which are tried ten times faster.

As a program, `mutated.py NAME HOW COUNT REPORT` tries one computation and writes what it has found.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from importlib.util import find_spec
from pathlib import Path
from random import Random

from sizes import PROCESSES, size

LONGEST = 1.0
"""Seconds of processor time, which others do not share; whatever takes more counts as a hang."""
LIMIT = 64 * 1024
"""Bytes of a body: longer ones are refused unread."""
PATIENCE = 3600.0
GUIDED = 10
"""One body in so many comes from the guided search."""


def figures():
    from figures import at_most, seen
    from mutations import examples
    from progress import Progress

    count = size("MUTATED", 100_000)
    guided = count // GUIDED if find_spec("atheris") else 0
    names = list(examples())
    progress = Progress(len(names), "parsers")

    def tried(name):
        found = _tried(name, guided, count - guided)
        progress.add()
        return found

    with ThreadPoolExecutor(PROCESSES) as pool:
        found = list(pool.map(tried, names))
    total = sum((Counter(each["outcomes"]) for each in found), Counter())
    slowest = max(found, key=lambda each: each["slowest"])
    yield _all_tried(found, count)
    yield seen("  by coverage-guided search", sum(each["guided"] for each in found))
    for outcome, number in total.most_common():
        yield seen(f"  {outcome}", number)
    yield at_most("  crashes", sum(len(each["crashes"]) for each in found), 0)
    yield at_most(f"  the slowest body ({slowest['name']})", slowest["slowest"], LONGEST, " s")
    for each in found:
        for crash in each["crashes"][:3]:
            print(f"{each['name']}: {crash}\n", flush=True)
    print(f"slowest: {slowest['slowest']:.3f} s: {slowest['body'][:500]}", flush=True)


def _all_tried(found, count):
    from figures import Figure

    least = min(sum(each["outcomes"].values()) for each in found)
    return Figure(
        f"spoilt bodies on each of {len(found)} parsers",
        f"{least:,}",
        f">= {count:,}",
        least >= count,
    )


def _tried(name, guided, others):
    """What both searches have found."""
    found = _in_process(name, "own", others)
    if guided:
        more = _in_process(name, "guided", guided)
        found["guided"] = guided
        found["outcomes"] = Counter(found["outcomes"]) + Counter(more["outcomes"])
        found["crashes"] += more["crashes"]
        if more["slowest"] > found["slowest"]:
            found |= {key: more[key] for key in ("slowest", "body")}
    return found


def _in_process(name, how, count):
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        done = subprocess.run(
            [sys.executable, __file__, name, how, str(count), str(report)],
            cwd=folder,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            capture_output=True,
            text=True,
            timeout=PATIENCE,
        )
        if report.exists():
            return json.loads(report.read_text())
        raise RuntimeError(f"{name}: {done.stderr[-2000:]}")


class Parser:
    """From bytes to what the view of a computation is given, and the refusal where there is one."""

    def __init__(self, name):
        from arrowloft.api import catalogue
        from arrowloft.api.resource import Edge, Limits
        from arrowloft.plugin.registry import Registry

        edge = Edge.of(Registry.discover(), Limits())
        groups = catalogue._subjects(edge, {}).values()
        found = (item for group in groups for item in group)
        self.schema = next(item.request for item in found if item.path == f"/v1/{name}")
        self.name = name
        self.outcomes, self.crashes = Counter(), []
        self.slowest, self.body = 0.0, b""

    def __call__(self, body):
        begin = time.process_time()
        try:
            outcome = self._outcome(body)
        except Exception as error:
            outcome = "crashed"
            if len(self.crashes) < 20:
                self.crashes.append(f"{error!r} on {body[:1000]!r}")
        passed = time.process_time() - begin
        self.outcomes[outcome] += 1
        if passed > self.slowest:
            self.slowest, self.body = passed, body

    def _outcome(self, body):
        from marshmallow import ValidationError

        from arrowloft.api import problems, reading

        try:
            self.schema.read(reading.parse_object(body))
        except reading.MalformedJson as error:
            fault = problems.Fault(error.pointer or "", error.detail)
            problems.reply(problems.Problem("malformed-json", error.detail, (fault,)))
            return "refused as malformed"
        except ValidationError as error:
            problems.reply(problems.from_validation(error))
            return "refused as invalid"
        except problems.Problem as problem:
            assert problems.KINDS[problem.code].status < 500, problem.code
            problems.reply(problem)
            return f"refused as {problem.code}"
        return "understood"

    def report(self, path):
        found = {
            "name": self.name,
            "outcomes": self.outcomes,
            "guided": 0,
            "crashes": self.crashes,
            "slowest": self.slowest,
            "body": self.body.decode("latin-1"),
        }
        Path(path).write_text(json.dumps(found))


def mutate(body, random, torn_by=None):
    """The bytes of a request, changed in its members or as bytes."""
    from mutations import examples, spoilt, torn, varied

    if random.random() < 0.5:
        try:
            value = json.loads(body)
        except (ValueError, RecursionError):
            value = random.choice(list(examples().values()))
        if isinstance(value, dict | list):
            changed = random.choice((spoilt, spoilt, varied))(value, random)
            return json.dumps(changed).encode()[:LIMIT]
    return (torn_by or (lambda given: torn(given, random)))(body)[:LIMIT]


def main(name, how, count, report):
    from mutations import examples

    seed = json.dumps(examples()[name]).encode()
    if how == "guided":
        _guided(name, seed, count, report)
    else:
        _unguided(Parser(name), seed, count, report)


def _unguided(parser, seed, count, report):
    random = Random(parser.name)
    kept = [seed]
    for _ in range(count):
        body = mutate(random.choice(kept), random)
        parser(body)
        if random.random() < 0.01:
            kept = [seed, *kept[-50:], body]
    parser.report(report)


def _guided(name, seed, count, report):
    import atheris

    with atheris.instrument_imports(include=["arrowloft.api"]):
        parser = Parser(name)
    Path("corpus").mkdir()
    Path("corpus/seed").write_bytes(seed)

    def each(body):
        parser(body)
        # The search ends the process without a word.
        if parser.outcomes.total() >= count:
            parser.report(report)
            os._exit(0)

    def changed(body, most, number):
        return mutate(body, Random(number), lambda given: atheris.Mutate(given, most))

    options = ["-max_len=65536", "-seed=8", "-timeout=60", "-rss_limit_mb=0", "-verbosity=0"]
    atheris.Setup([sys.argv[0], *options, "corpus"], each, custom_mutator=changed)
    atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4])
