"""A problem as the bytes of a whole reply, for those who answer past the app."""

from collections.abc import Sequence
from typing import NamedTuple

from arrowloft.api import problems
from arrowloft.operation.headers import ALWAYS, STRICT
from arrowloft.operation.trace_context import REQUEST_ID

_REQUEST_ID = REQUEST_ID.encode()


class Written(NamedTuple):
    """A reply, of which HEAD gets the head alone."""

    head: bytes
    body: bytes

    def reply(self, *, head: bool, request_id: str) -> bytes:
        """What is sent, under an id; the head alone where so asked."""
        named = b"%b%b: %b\r\n\r\n" % (self.head[:-2], _REQUEST_ID, request_id.encode())
        return named if head else named + self.body


def written(problem: problems.Problem, headers: Sequence[tuple[str, str]] = ()) -> Written:
    """The problem with the headers that every reply has, these, and the connection's end."""
    fixed = [*ALWAYS.items(), ("Content-Security-Policy", STRICT), ("Connection", "close")]
    reply = problems.reply(problem, [*fixed, *headers])
    lines = [f"HTTP/1.1 {reply.status}", *(f"{name}: {value}" for name, value in reply.headers)]
    return Written("\r\n".join([*lines, "", ""]).encode("ascii"), reply.get_data())
