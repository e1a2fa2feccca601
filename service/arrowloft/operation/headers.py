"""Headers that every reply has."""

from collections.abc import Mapping

from flask import Flask, Response

from arrowloft.api.replies import JSON
from arrowloft.operation.settings import Settings

_CLOSED = (
    "accelerometer",
    "camera",
    "display-capture",
    "geolocation",
    "gyroscope",
    "magnetometer",
    "microphone",
    "midi",
    "payment",
    "usb",
)
"""What no page asks a browser for. The clipboard stays: the kiosk's page puts links there."""

ALWAYS: Mapping[str, str] = {
    # Nothing is guessed from bytes, and no page elsewhere shows, embeds or steers what is here.
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": ", ".join(f"{feature}=()" for feature in _CLOSED),
    # Addresses may carry a set-up.
    "Referrer-Policy": "no-referrer",
}
"""Name -> value, the same on every reply."""

STRICT = "default-src 'none'; frame-ancestors 'none'"
"""Content-Security-Policy of what is no page; pages and pictures bring their own."""


def install(app: Flask, settings: Settings) -> None:
    """Let every reply of the app have them."""
    app.after_request(_finished)


def _finished(response: Response) -> Response:
    """Headers that keep a browser from guessing, and the same bytes from every process."""
    headers = response.headers
    headers.update(ALWAYS)
    headers.setdefault("Content-Security-Policy", STRICT)
    if "Allow" in headers:
        methods = sorted(headers["Allow"].split(", "))
        headers["Allow"] = ", ".join(methods)
        if "QUERY" in methods:
            headers["Accept-Query"] = JSON
    return response
