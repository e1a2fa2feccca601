"""Which other origins' pages may read replies (CORS); none unless named."""

import re

from flask import Flask, Response
from flask_cors import CORS

from arrowloft.operation.settings import Settings

_METHODS = ("GET", "POST", "QUERY", "OPTIONS")
_TAKEN = (
    "Content-Type",
    "Accept",
    "Authorization",
    "If-None-Match",
    "traceparent",
    "tracestate",
    "X-Request-Id",
)
"""Headers that a page may send."""
_SHOWN = (
    "ETag",
    "X-Request-Id",
    "traceresponse",
    "Retry-After",
    "Accept-Query",
    "Cache-Control",
)
"""Headers of a reply that a page may read, beside those that any may."""
_HELD = 7200
"""Seconds that a browser may keep the answer to its preflight; none keeps it for longer."""


def install(app: Flask, settings: Settings) -> None:
    """Let pages of the origins that are named read replies; without one, add nothing."""
    if not settings.origins:
        return
    # After the library's own, which leaves it out where one origin is named, or none matches.
    app.after_request(_varied)
    CORS(
        app,
        # As expressions: the library would take an address in brackets for one of its own.
        origins=[re.compile(rf"{re.escape(one)}\Z", re.IGNORECASE) for one in settings.origins],
        methods=list(_METHODS),
        allow_headers=list(_TAKEN),
        expose_headers=list(_SHOWN),
        supports_credentials=False,
        max_age=_HELD,
        vary_header=False,
        always_send=False,
        # Errors are replies like others here, which it sees without that.
        intercept_exceptions=False,
    )


def _varied(response: Response) -> Response:
    """Say that a reply depends on the origin, also where that one is told nothing."""
    response.vary.add("Origin")
    return response
