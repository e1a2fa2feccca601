"""The service with one more path, which returns a constant small JSON through the same server."""

from flask import Response

from arrowloft.app import service


def create():
    app = service()

    @app.get("/constant")
    def constant():
        return Response(b'{"answer":42}', content_type="application/json")

    return app
