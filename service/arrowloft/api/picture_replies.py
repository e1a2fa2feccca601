"""Replies that are pictures."""

from flask import Response

SVG = "image/svg+xml"

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
"""As of every reply, but for the picture's own styles: a browser drew it all black else."""


def svg_reply(picture: bytes) -> Response:
    """The picture, of a resource that has other forms too."""
    response = Response(picture, content_type=SVG)
    response.headers["Vary"] = "Accept"
    response.headers["Content-Security-Policy"] = _POLICY
    return response
