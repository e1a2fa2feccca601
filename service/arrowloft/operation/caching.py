"""How long a reply may be kept, and how one that is kept is asked for again.

After RFC 9110 (entity tags, preconditions), RFC 9111 (keeping) and RFC 10008 (QUERY, in whose key
a cache must have the request's content). No reply has a Content-Location: what a computation
found has no address, and with the path's own a cache could answer GET with the reply to a POST.
What depends on the caller's key, or on the origin of a page, `access` and `cross_origin` say.
"""

from hashlib import sha256

from flask import Flask, Request, Response, request

from arrowloft.api import problems
from arrowloft.api.problems import KINDS, Problem
from arrowloft.operation.settings import Settings

AGAIN = "no-cache"
"""Cache-Control of what may be kept, and must be asked for again before each use."""

FETCHES = ("GET", "HEAD")
CONDITIONAL = (*FETCHES, "QUERY")
"""Methods with a selected representation, which a precondition is about; POST has none here."""


def install(app: Flask, settings: Settings) -> None:
    """Let every reply say whether it may be kept, and answer those who have it already."""
    # A computation is a pure function of its request; what a GET answers changes with an update.
    computed = f"public, max-age={settings.max_age}" if settings.max_age else AGAIN

    @app.after_request
    def kept(response: Response) -> Response:
        if response.status_code == 412:
            return _failed()  # of a page's file: those look at preconditions by themselves
        if response.status_code != 200 or request.method not in (*CONDITIONAL, "POST"):
            return response
        if "Cache-Control" in response.headers:
            return response  # which knows better
        response.set_etag(tag_of(response))
        response.headers["Cache-Control"] = AGAIN if request.method in FETCHES else computed
        return conditional(response, request) if request.method in CONDITIONAL else response


def tag_of(response: Response) -> str:
    """The entity tag of a reply: the same from every process that sends the same bytes.

    With its media type, as two forms of one resource must never have the same.
    """
    digest = sha256(response.headers["Content-Type"].encode() + b"\0")
    digest.update(response.get_data())
    return digest.hexdigest()[:32]


def conditional(response: Response, asked: Request) -> Response:
    """The reply, or what is due instead by the preconditions of the request."""
    tag, _ = response.get_etag()
    assert tag is not None
    if asked.if_match and not asked.if_match.contains(tag):
        return _failed()
    if asked.if_none_match.contains_weak(tag):
        response.status_code = 304
        response.set_data(b"")
        # They describe what is not sent; the rest may bring a kept reply up to date.
        for name in ("Content-Type", "Content-Length", "Content-Disposition"):
            response.headers.pop(name, None)
    return response


def _failed() -> Response:
    return problems.reply(Problem("precondition-failed", KINDS["precondition-failed"].advice))
