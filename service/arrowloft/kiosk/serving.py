"""A page's own files over HTTP: known names only, each read once and held ready to send."""

import gzip
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources.abc import Traversable

from flask import Flask, Request, Response, request
from werkzeug.exceptions import NotFound

CONTENT_TYPES: Mapping[str, str] = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "json": "application/json",
    "webmanifest": "application/manifest+json",
    "svg": "image/svg+xml",
    "png": "image/png",
    "ico": "image/vnd.microsoft.icon",
    "woff2": "font/woff2",
    # Shown by every browser, while some only offer to save text/markdown.
    "md": "text/plain; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
}
"""Ending of a name -> content type; a file that ends otherwise is not served."""

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "font-src 'self'",
        "manifest-src 'self'",
        "form-action 'none'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""Content-Security-Policy of the pages: everything from here, and no inline code or style."""

ENDPOINTS = "files of "
"""What the endpoint of every route of files begins with; the API document leaves those out."""

_SMALL = 1024
"""Bytes below which a text is sent as it is: it fits one packet either way."""

_COMPRESSED_ALREADY = ("image/png", "font/woff2", "image/vnd.microsoft.icon")


@dataclass(frozen=True)
class Form:
    """The bytes of one form of a file, and the strong entity tag that they have."""

    content: bytes
    tag: str

    @classmethod
    def of(cls, content: bytes) -> "Form":
        """The form; its tag comes from the bytes alone, the same in every process."""
        return cls(content, sha256(content).hexdigest()[:32])


@dataclass(frozen=True)
class File:
    """One file, held ready to send; compressed: None where that is not worth while."""

    content_type: str
    plain: Form
    compressed: Form | None

    @classmethod
    def of(cls, name: str, content: bytes) -> "File":
        """The file of this name; raises KeyError where names with its ending are not served."""
        content_type = CONTENT_TYPES[_ending(name)]
        worth = len(content) > _SMALL and content_type not in _COMPRESSED_ALREADY
        packed = Form.of(gzip.compress(content, mtime=0)) if worth else None
        return cls(content_type, Form.of(content), packed)

    def reply(self, asked: Request) -> Response:
        """The file, or 304 where the caller has it already."""
        packed = self.compressed
        form = packed if packed and asked.accept_encodings["gzip"] > 0 else self.plain
        response = Response(form.content, content_type=self.content_type)
        if packed:
            response.vary.add("Accept-Encoding")
        if form is packed:
            response.headers["Content-Encoding"] = "gzip"
        # The address stays when the content changes: a browser keeps it, and asks each time.
        response.headers["Cache-Control"] = "no-cache"
        response.headers["Content-Security-Policy"] = POLICY
        response.set_etag(form.tag)
        response.make_conditional(asked)
        # The server sends one of its own; two would contradict each other.
        response.headers.pop("Date", None)
        return response


Files = Mapping[str, File]
"""Name, with folders as in `steps/marks.js`, -> file."""


def files_in(folder: Traversable) -> Files:
    """Every file below the folder whose ending is known, read now and never again.

    Names that begin with a dot are left out, as are folders that do.
    """
    return {
        name: File.of(name, found.read_bytes())
        for name, found in _below(folder, "")
        if _ending(name) in CONTENT_TYPES
    }


def _below(folder: Traversable, above: str) -> Iterator[tuple[str, Traversable]]:
    for found in sorted(folder.iterdir(), key=lambda item: item.name):
        if found.name.startswith("."):
            continue
        if found.is_dir():
            yield from _below(found, f"{above}{found.name}/")
        else:
            yield above + found.name, found


def _ending(name: str) -> str:
    return name.rpartition(".")[2]


def install(app: Flask, prefix: str, files: Files) -> None:
    """Let the app answer GET and HEAD on prefix/name for each of the files.

    A name is looked up among those and nowhere else: no path from a caller reaches a disk.
    """

    def view(name: str) -> Response:
        if name not in files:
            raise NotFound("No page has a file of this name; GET / leads to the pages.")
        return files[name].reply(request)

    app.add_url_rule(f"{prefix}/<path:name>", ENDPOINTS + prefix, view, methods=["GET"])


def page(file: File) -> Callable[[], Response]:
    """What answers the current request with this page."""
    return lambda: file.reply(request)
