"""What is believed of the proxies in front, and of what was meant for one."""

from collections.abc import Iterable
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from arrowloft.operation.settings import Settings


def install(app: Flask, settings: Settings) -> None:
    """Take address, scheme and host of the caller from as many proxies as are trusted.

    Only the last so many values of X-Forwarded-For, -Proto and -Host count: those before them
    are whatever the caller wrote. Without a proxy none counts, and `Forwarded` never does.
    """
    inner = _rooted(app.wsgi_app)
    hops = settings.proxies
    if hops > 0:
        inner = ProxyFix(inner, x_for=hops, x_proto=hops, x_host=hops)
    app.wsgi_app = inner  # type: ignore[method-assign, assignment]


def _rooted(inner: WSGIApplication) -> WSGIApplication:
    """No path is the path `/`, as in `GET http://host` (RFC 9112, 3.2.2).

    The router would send such a caller on, to whatever host it has named.
    """

    def answered(environment: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        environment["PATH_INFO"] = environment.get("PATH_INFO") or "/"
        return inner(environment, start_response)

    return answered
