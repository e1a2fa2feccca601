"""GET /healthz: whether this process answers; it looks at nothing else."""

from flask import Response

from arrowloft import __version__
from arrowloft.api import replies
from arrowloft.api.reply_schemas import text
from arrowloft.api.resource import Resource
from arrowloft.api.schemas import Strict


class Health(Strict):
    """The process answers."""

    status = text("Always ok.", enum=["ok"])
    version = text("Version of the service.")


def resource() -> Resource:
    """The resource."""

    def view() -> Response:
        return replies.json_reply({"status": "ok", "version": __version__})

    return Resource(
        path="/healthz",
        name="health",
        summary="Whether the process answers",
        description="Answers as long as this process does; it computes nothing.",
        view=view,
        reply=Health(),
        momentary=True,
    )
