"""GET /, /docs and /problems/{code}: where to read on, and what each kind of problem means."""

from flask import Response, request

from arrowloft import __version__
from arrowloft.api import replies
from arrowloft.api.problems import KINDS, Problem
from arrowloft.api.replies import JSON
from arrowloft.api.reply_schemas import text, whole
from arrowloft.api.resource import Page, Resource
from arrowloft.api.schemas import Strict

HTML = "text/html"


class Entrance(Strict):
    """Where to read on."""

    service = text("Name of the service.")
    version = text("Its version.")
    document = text("Path of the API document.", format="uri-reference")
    models = text("Path of the list of models.", format="uri-reference")


class ProblemKind(Strict):
    """One kind of problem."""

    type = text("Reference to this kind, as problems carry it.", format="uri-reference")
    title = text("The kind in words.")
    status = whole("The HTTP status.")
    advice = text("What a caller can do about it.")


def entrance(page: Page | None) -> Resource:
    """The root: to a browser the page, to everyone else where to read on."""

    def view() -> Response:
        if page and request.accept_mimetypes.best_match((JSON, HTML)) == HTML:
            shown = page()
            shown.vary.add("Accept")
            return shown
        return replies.json_reply(
            {
                "service": "arrowloft",
                "version": __version__,
                "document": "/openapi.json",
                "models": "/v1/models",
            },
            forms=2,
        )

    return Resource(
        path="/",
        name="entrance",
        summary="Where to read on",
        description="Points at the API document and the list of models. A caller that prefers HTML "
        "to JSON, as browsers do, gets the kiosk's page.",
        view=view,
        reply=Entrance(),
        forms=(HTML,),
    )


def document_page(page: Page | None) -> Resource:
    """The API document for readers."""

    def view() -> Response:
        if page is None:
            raise Problem("not-acceptable", "This service has no pages: GET /openapi.json instead.")
        replies.negotiate(request, HTML)
        return page()

    return Resource(
        path="/docs",
        name="document_page",
        summary="The API document to read and try",
        description="A page that shows /openapi.json and sends the requests that its reader tries.",
        view=view,
        forms=(HTML,),
    )


def problem_kind() -> Resource:
    """What one kind of problem means: where the `type` of a problem leads."""

    def view(code: str) -> Response:
        kind = KINDS.get(code)
        if kind is None:
            raise Problem(
                "not-found", f"There is no such problem; there are: {', '.join(sorted(KINDS))}."
            )
        return replies.json_reply(
            {
                "type": f"/problems/{code}",
                "title": kind.title,
                "status": kind.status,
                "advice": kind.advice,
            }
        )

    return Resource(
        path="/problems/{code}",
        name="problem_kind",
        summary="What a kind of problem means",
        description="Explains the kind of problem that a problem's `type` refers to.",
        view=view,
        reply=ProblemKind(),
        problems=("not-found",),
        parameters={"code": "Last step of the problem's type."},
    )
