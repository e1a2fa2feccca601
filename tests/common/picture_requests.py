"""Asking a resource for its picture, and its picture together with its figures."""

from typing import Any

from flask.testing import FlaskClient
from pictured import Pictured

Body = dict[str, Any]

SVG, PDF = "image/svg+xml", "application/pdf"


def post(client: FlaskClient, name: str, body: Body, accept: str = SVG) -> Any:
    """The reply, which is there."""
    reply = client.post(f"/v1/{name}", json=body, headers={"Accept": accept})
    assert reply.status_code == 200, reply.get_data(as_text=True)[:500]
    return reply


def both(client: FlaskClient, name: str, body: Body) -> tuple[Any, Pictured]:
    """The figures, and the picture."""
    figures = post(client, name, body, "application/json").get_json()
    picture = Pictured(post(client, name, body).data)
    picture.check_sound()
    return figures, picture
