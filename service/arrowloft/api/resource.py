"""What one resource is: its path, its view, and the schemas that check and document it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from flask import Flask, Response
from marshmallow import Schema

from arrowloft.api.echo import Replayable
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.replies import JSON
from arrowloft.plugin.registry import Registry

FLIGHT_PROBLEMS = (
    "model-cannot-answer",
    "outside-validity",
    "beyond-reach",
    "cannot-be-followed",
)
"""Problems that every computation of flights may answer with."""


@dataclass(frozen=True)
class Limits:
    """What one request may ask for; each can be set by the app's configuration.

    body: bytes of a request's body.  distances: rows of a table.  samples: points of a
    trajectory.  cells: flights of a grid, such as distances times slopes.  lanes: of one
    comparison.  obstacles: of one clearance.  observations: of one calibration.
    measurements: of one fit.  points: of one sweep, set-ups times distances.  work: evaluations
    of drag laws, flights times points on each, and what counts as so many (`core.flight.work`):
    about a second of one core.  depth: levels of nesting.  digits: of a whole number.
    seconds: of wall time, for all of it.
    """

    body: int = 64 * 1024
    distances: int = 1000
    samples: int = 2000
    cells: int = 5000
    lanes: int = 64
    obstacles: int = 20
    observations: int = 100
    measurements: int = 500
    points: int = 100_000
    work: int = 10_500_000
    depth: int = 32
    digits: int = 400
    seconds: float = 5.0


WAITING = 64
"""Most requests that wait for a worker before others are turned away, unless set otherwise."""


ALWAYS_ANSWERED = ("/healthz", "/readyz")
"""Paths that a full service answers all the same.

An instance taken out for being full would leave its load to the others, and they would follow.
"""


def is_keyed(path: str) -> bool:
    """Whether a path, or a route, needs a key where the service asks for keys.

    All below /v1 does: what computes, and what tells what is installed.
    """
    return path.split("/", 2)[:2] == ["", "v1"]


Draw = Callable[[Any, Mapping[str, str], Literal["svg", "pdf"]], bytes]
"""(what the core found, unit of each dimension, what to write it as) -> the picture."""


@dataclass(frozen=True, kw_only=True)
class Pictures:
    """What draws each resource's results; None: no picture."""

    overshoot: Draw | None = None
    comparison: Draw | None = None
    fit: Draw | None = None
    sight_scale: Draw | None = None
    clearance: Draw | None = None
    trajectory: Draw | None = None
    hit_probability: Draw | None = None
    error_budget: Draw | None = None
    marks: Draw | None = None
    calibration: Draw | None = None
    cant_tolerance: Draw | None = None
    wind: Draw | None = None


_NO_PICTURES = Pictures()

Page = Callable[[], Response]
"""-> the page that answers the current request, beside its JSON where it has some."""


@dataclass(frozen=True, kw_only=True)
class Pages:
    """What answers a browser; None: no page.

    entrance: at `/`.  document: at `/docs`.
    """

    entrance: Page | None = None
    document: Page | None = None


_NO_PAGES = Pages()


@dataclass(frozen=True)
class Edge:
    """What resources are made with."""

    registry: Registry
    limits: Limits
    models: ModelSchemas
    pictures: Pictures = _NO_PICTURES
    pages: Pages = _NO_PAGES

    @classmethod
    def of(
        cls,
        registry: Registry,
        limits: Limits,
        pictures: Pictures = _NO_PICTURES,
        pages: Pages = _NO_PAGES,
    ) -> "Edge":
        """The edge for these models; their schemas are made here, once."""
        return cls(registry, limits, ModelSchemas.of(registry), pictures, pages)


@dataclass(frozen=True, kw_only=True)
class Resource:
    """One path of the service.

    path: as in the document, with {names}.  name: the operation's, unique.
    summary, description: what it computes, for the document.
    request: the schema of its body; None: it answers GET, else POST and QUERY.
    reply: the schema that documents its JSON reply; None: it has none.
    forms: media types of the reply beside JSON.
    problems: codes of problems it may answer with, beside those that every path has.
    parameters: path parameter -> description.
    momentary: the reply says how things stand just now, so nobody may keep it.
    """

    path: str
    name: str
    summary: str
    description: str
    view: Callable[..., Response]
    reply: Schema | None = None
    request: Schema | None = None
    forms: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    parameters: Mapping[str, str] = field(default_factory=dict)
    momentary: bool = False

    @property
    def methods(self) -> tuple[str, ...]:
        """The methods it answers."""
        return ("GET",) if self.request is None else ("POST", "QUERY")

    def install(self, app: Flask, replayable: Replayable | None = None) -> None:
        """Let the app answer it.

        replayable: what answers echo=true on a computation; without it echo says nothing.
        """
        view = self.view
        if self.request is not None:
            if replayable is not None:
                view = replayable.view(view, self.forms)
            view = _queryable(view)
        if self.momentary:
            view = _unkept(view)
        app.add_url_rule(
            self.path.replace("{", "<").replace("}", ">"),
            endpoint=self.name,
            view_func=view,
            methods=list(self.methods),
        )


def _queryable(view: Callable[..., Response]) -> Callable[..., Response]:
    """The view, whose replies say that QUERY with a JSON body is answered too (RFC 10008)."""

    def answered(**values: Any) -> Response:
        response = view(**values)
        response.headers["Accept-Query"] = JSON
        return response

    return answered


def _unkept(view: Callable[..., Response]) -> Callable[..., Response]:
    """The view, whose replies no cache may keep."""

    def answered(**values: Any) -> Response:
        response = view(**values)
        response.headers["Cache-Control"] = "no-store"
        return response

    return answered
