"""Hand-made attacks over raw sockets, at gunicorn by itself and through nginx, others served."""

import strangers
from attack_cases import cases
from attacking import attack
from figures import at_most, seen
from instances import pair
from load_client import Ask, start
from wire import exchange, message

LONGEST = 50.0
"""Milliseconds until an answer."""
TRIES = 5
"""An answer that came late is asked for anew: what else the machine does counts least so."""
FAILED = frozenset({500, 502, 503, 504})
"""501 and 505 are what the standard asks for where a coding or a version is not known."""
STEADY = 20.0
"""Requests a second of others, meanwhile."""


def figures():
    with pair() as (instances, front):
        one, other = instances
        yield from _through("gunicorn by itself", one.port, other.port, False)
        yield from _through("nginx", front.port, front.port, True)


def _through(name, port, beside, proxied):
    """beside: where others are served meanwhile."""
    request = message("POST", "/v1/mark-table", strangers.demo_request())
    asks = [Ask(message=request, body=exchange(beside, request).body)]
    faults, slow, fives, worst = [], [], 0, 0.0
    with start(beside, asks, clients=2, rate=STEADY, seconds=600.0) as others:
        for case in cases():
            answer = attack(port, case)
            seconds = answer.seconds
            for _ in range(TRIES):
                if 1e3 * seconds > LONGEST:
                    seconds = min(seconds, attack(port, case).seconds)
            found = answer.faults(case, proxied)
            fives += bool(FAILED & set(answer.statuses))
            faults += [f"{case.name}: {', '.join(found)}"] if found else []
            slow += [f"{case.name}: {1e3 * seconds:.0f} ms"] if 1e3 * seconds > LONGEST else []
            worst = max(worst, seconds)
        seen_meanwhile = others.stop()
    for line in faults + slow:
        print(f"  {name}: {line}", flush=True)
    yield seen(f"attacks on {name}", len(cases()))
    yield at_most("  answered 500, 502, 503 or 504", fives, 0)
    yield at_most("  answered otherwise than allowed", len(faults), 0)
    yield at_most("  the latest answer", 1e3 * worst, LONGEST, " ms")
    yield at_most(
        f"  others not served meanwhile, of {seen_meanwhile.asked}", seen_meanwhile.failures, 0
    )
    yield seen("  others' median latency meanwhile", 1e3 * seen_meanwhile.latency(), " ms")
