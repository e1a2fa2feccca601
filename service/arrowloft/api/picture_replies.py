"""Replies that are pictures."""

from collections.abc import Mapping
from typing import Any, Literal

from flask import Response, request

from arrowloft.api.resource import Draw

SVG, PDF = "image/svg+xml", "application/pdf"

PICTURED = (SVG, PDF)
"""Media types of a picture."""

_FORMS: Mapping[str, Literal["svg", "pdf"]] = {SVG: "svg", PDF: "pdf"}

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
"""As of every reply, but for the picture's own styles: a browser drew it all black else."""


def forms_of(draw: Draw | None) -> tuple[str, ...]:
    """What a resource can be drawn as, where the edge was given what draws it."""
    return PICTURED if draw else ()


def picture_reply(draw: Draw | None, found: Any, chosen: Mapping[str, str], form: str) -> Response:
    """The picture, of a resource that has other forms too.

    found: what the core found.  chosen: unit of each dimension.  form: one of `PICTURED`.
    """
    assert draw is not None  # a picture is offered only where there is what draws it
    response = Response(draw(found, chosen, _FORMS[form]), content_type=form)
    response.headers["Vary"] = "Accept"
    if form == PDF:
        # A browser keeps it under the computation's name; a tool takes it for bytes, not text.
        name = request.path.rpartition("/")[2]
        response.headers["Content-Disposition"] = f'attachment; filename="{name}.pdf"'
    response.headers["Content-Security-Policy"] = _POLICY
    return response
