"""By which names a request is found again: its own id, and its place in a caller's trace.

W3C Trace Context (2021) comes in as `traceparent`; the reply says this service's span in
`traceresponse`, after the Trace Context Level 2 working draft.  No span is sent anywhere.
"""

import os
import re
from dataclasses import dataclass

from opentelemetry import trace
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

REQUEST_ID = "X-Request-Id"
_PARENT = "traceparent"
TRACE_RESPONSE = "traceresponse"

_OWN_ID = re.compile(r"[A-Za-z0-9._-]{1,128}", re.ASCII)
_PROPAGATOR = TraceContextTextMapPropagator()


@dataclass(frozen=True, kw_only=True)
class Ids:
    """What a request is called.

    request_id: the caller's where it may be written down as it is, else a new one.
    trace_id, span_id: 32 and 16 hexadecimal digits; the span is this service's own.
    parent_id: the caller's span, 16 hexadecimal digits; "" where it named none.
    flags: of the trace, as the caller set them.
    """

    request_id: str
    trace_id: str
    span_id: str
    parent_id: str = ""
    flags: int = 0

    @property
    def response(self) -> str:
        """The value of `traceresponse`."""
        return f"00-{self.trace_id}-{self.span_id}-{self.flags:02x}"


def new_id() -> str:
    """An id for a request whose own is not read, or is none."""
    return os.urandom(16).hex()


def ids_of(asked: str = "", traceparent: str = "") -> Ids:
    """The ids of a request with these headers; what is not valid counts as not given.

    asked: the value of `X-Request-Id`.
    """
    drawn = os.urandom(40).hex()
    parent = _parent(traceparent)
    return Ids(
        request_id=asked if _OWN_ID.fullmatch(asked) else drawn[:32],
        # A span of a caller's trace, or the first of a new one.
        trace_id=trace.format_trace_id(parent.trace_id) if parent else drawn[32:64],
        span_id=drawn[64:],
        parent_id=trace.format_span_id(parent.span_id) if parent else "",
        # Only the flag that the standard knows: sampled.
        flags=parent.trace_flags & trace.TraceFlags.SAMPLED if parent else 0,
    )


def _parent(given: str) -> trace.SpanContext | None:
    if not given:
        return None
    # Without tracestate: nothing is sent on.
    context = _PROPAGATOR.extract({_PARENT: given})
    found = trace.get_current_span(context).get_span_context()
    return found if found.is_valid else None
