"""`python -m arrowloft.operation.write_problems FILE`: what the proxy says of its own.

A piece of nginx's configuration, for a `server`: each of nginx's own errors becomes a problem in
the shape and the words of the service's.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import orjson

from arrowloft.api.problems import KINDS, MEDIA_TYPE
from arrowloft.operation.headers import ALWAYS, STRICT

_HEAD = """\
# Written by python -m arrowloft.operation.write_problems; in the words of the service's own.
"""

_NOBODY_ASKED = 'if ($upstream_addr ~ "service$")'
"""Then no instance was free: all are full. nginx has the same status for it as for instances
that do not answer."""


@dataclass(frozen=True, kw_only=True)
class Said:
    """A problem that the proxy says.

    code: of KINDS.  statuses: those of nginx that it takes the place of, some of nginx's own
    among them (494 to 497).  headers: name and value of each further one.
    """

    code: str
    statuses: tuple[int, ...]
    headers: tuple[tuple[str, str], ...] = ()


_AGAIN = (("Retry-After", "1"),)

SAID = (
    # Certificates of clients; a transfer coding and a version of HTTP that no one speaks. Not 497,
    # plain HTTP where TLS is spoken: tls.conf sends its caller on.
    Said(code="bad-request", statuses=(400, 495, 496, 501, 505)),
    Said(code="not-found", statuses=(403, 404)),
    Said(
        code="method-not-allowed",
        statuses=(405,),
        headers=(("Allow", "GET, HEAD, OPTIONS, POST, QUERY"),),
    ),
    # It looks at preconditions of what it has kept.
    Said(code="precondition-failed", statuses=(412,)),
    Said(code="too-large", statuses=(413,)),
    Said(code="target-too-long", statuses=(414,)),
    Said(code="too-many-requests", statuses=(429,), headers=_AGAIN),
    Said(code="headers-too-large", statuses=(431, 494)),
    Said(code="defect", statuses=(500,)),
    Said(code="unreachable", statuses=(502,), headers=_AGAIN),
    Said(code="takes-too-long", statuses=(504,), headers=_AGAIN),
)


def configuration() -> str:
    """The whole file."""
    return "\n".join([_HEAD, *("\n".join(_location(said)) for said in SAID)])


def _location(said: Said) -> Iterator[str]:
    # A path and no name, which nginx could not go to before it has read a path.
    path = f"/.problems/{said.code}"
    yield f"error_page {' '.join(map(str, said.statuses))} = {path};"
    yield f"location = {path} {{"
    yield "    internal;"
    yield f"    default_type {MEDIA_TYPE};"
    # Headers given here replace those of the server, which are therefore said again.
    yield "    include replies.conf;"
    for name, value in (
        ("Cache-Control", "no-store"),
        *ALWAYS.items(),
        ("Content-Security-Policy", STRICT),
        # Empty, and not sent, unless the origin is allowed: the service says these for its own.
        ("Access-Control-Allow-Origin", "$allowed_origin"),
        ("Access-Control-Expose-Headers", "$shown_headers"),
        ("Vary", "Origin"),
        *said.headers,
    ):
        yield f'    add_header {name} "{value}" always;'
    if said.code == "unreachable":
        yield f"    {_NOBODY_ASKED} {{"
        yield f"        {_return('overloaded')}"
        yield "    }"
    yield f"    {_return(said.code)}"
    yield "}\n"


def _return(code: str) -> str:
    kind = KINDS[code]
    # Too large is the body as a whole: the empty pointer.
    errors = [{"pointer": "", "detail": kind.advice}] if code == "too-large" else []
    body = {
        "type": f"/problems/{code}",
        "title": kind.title,
        "status": kind.status,
        "detail": kind.advice,
        "errors": errors,
    }
    return f"return {kind.status} {_quoted(orjson.dumps(body).decode())};"


def _quoted(text: str) -> str:
    """The text as one argument of nginx's configuration, which has no way to write a dollar."""
    if "$" in text:
        raise ValueError(f"nginx would read a variable in {text}")
    escaped = text.replace("\\", "\\\\").replace("'", "\\'")
    return f"'{escaped}'"


def main(arguments: list[str]) -> int:
    """Write the file."""
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    Path(arguments[0]).write_text(configuration(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
