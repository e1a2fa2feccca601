"""Headers that every reply has."""

from flask import Flask, Response

from arrowloft.api.replies import JSON
from arrowloft.operation.settings import Settings


def install(app: Flask, settings: Settings) -> None:
    """Let every reply of the app have them."""
    app.after_request(_finished)


def _finished(response: Response) -> Response:
    """Headers that keep a browser from guessing, and the same bytes from every process."""
    headers = response.headers
    headers["X-Content-Type-Options"] = "nosniff"
    headers.setdefault("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
    headers.setdefault("Referrer-Policy", "no-referrer")
    if "Allow" in headers:
        methods = sorted(headers["Allow"].split(", "))
        headers["Allow"] = ", ".join(methods)
        if "QUERY" in methods:
            headers["Accept-Query"] = JSON
    return response
