"""The pages that the service shows: the kiosk's, and the API document to read and try."""

from collections.abc import Callable
from functools import cache
from importlib.resources import files
from typing import NamedTuple

from flask import Flask, Response

from arrowloft.kiosk.serving import File, Files, files_in, page
from arrowloft.kiosk.serving import install as serve

_SWAGGER = ("swagger-ui-bundle.js", "swagger-ui.css")
"""What the document page needs of the package that renders OpenAPI documents."""


class Pages(NamedTuple):
    """What answers a request with a page.

    kiosk: the page of the range.  document: the API document to read and try.
    """

    kiosk: Callable[[], Response]
    document: Callable[[], Response]


def install(app: Flask) -> Pages:
    """Let the app serve the files of both pages, and hand back the pages themselves.

    They stay with the caller since each has a path of the API's: `/`, which answers JSON as
    well, and `/docs`.
    """
    kiosk, document = dict(_kiosk()), dict(_document())
    pages = Pages(page(kiosk.pop("index.html")), page(document.pop("docs.html")))
    serve(app, "/kiosk", kiosk)
    serve(app, "/docs", document)
    return pages


# Installed files do not change while a process runs: read and compressed once in it.
@cache
def _kiosk() -> Files:
    return files_in(files("arrowloft.kiosk") / "page")


@cache
def _document() -> Files:
    rendering = files("flask_swagger_ui") / "dist"
    swagger = {name: File.of(name, (rendering / name).read_bytes()) for name in _SWAGGER}
    guide = files_in(files("arrowloft") / "guide")
    return {
        **files_in(files("arrowloft.kiosk") / "document"),
        **swagger,
        **{f"guide/{name}": file for name, file in guide.items()},
    }
