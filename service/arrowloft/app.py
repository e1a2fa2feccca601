"""The one place that knows every layer: `create_app` makes the WSGI application."""

from collections.abc import Callable, Mapping
from typing import Any

from flask import Flask, Response

from arrowloft.api import catalogue, problems, time_limit
from arrowloft.api.replies import JSON
from arrowloft.api.resource import Edge, Limits, Pages, Pictures
from arrowloft.kiosk import pages
from arrowloft.pictures import (
    calibration,
    cant_tolerance,
    comparison,
    error_budget,
    fit,
    hit_probability,
    marks,
    overshoot,
    path,
    printed_sheet,
    wind,
)
from arrowloft.plugin.registry import Registry
from arrowloft.plugin.time_limit import Uninterrupted


def create_app(registry: Registry | None = None, config: Mapping[str, Any] | None = None) -> Flask:
    """The service as a WSGI application.

    registry: the models to offer; those installed where not given.
    config: `limits` (a Limits) and `examples` (operation -> worked example, for the document).
    Raises PluginFaults where an installed model breaks the contract.
    """
    config = config or {}
    app = Flask("arrowloft", static_folder=None)
    # Doubled slashes are unknown paths: a redirect would answer without the problem shape.
    app.url_map.merge_slashes = False
    shown = pages.install(app)
    edge = Edge.of(
        registry or Registry.discover(),
        config.get("limits", Limits()),
        Pictures(
            overshoot=_whole(overshoot.picture),
            comparison=_whole(comparison.picture),
            fit=_whole(fit.picture),
            marks=_whole(marks.picture),
            calibration=_whole(calibration.picture),
            cant_tolerance=_whole(cant_tolerance.picture),
            wind=_whole(wind.picture),
            sight_scale=_whole(printed_sheet.picture),
            clearance=_whole(path.clearance),
            trajectory=_whole(path.trajectory),
            hit_probability=_whole(hit_probability.picture),
            error_budget=_whole(error_budget.picture),
        ),
        Pages(entrance=shown.kiosk, document=shown.document),
    )
    catalogue.install(app, edge, config.get("examples", {}))
    time_limit.install(app, edge.limits.seconds)
    problems.install(app)
    app.after_request(_finished)
    return app


def _whole(draw: Callable[..., bytes]) -> Callable[..., bytes]:
    """A drawing that the time limit ends at its end only.

    The plotting library, imported with the first one, and its settings are the process's.
    """

    def drawn(*given: Any) -> bytes:
        with Uninterrupted():
            return draw(*given)

    return drawn


def _finished(response: Response) -> Response:
    """Headers that keep a browser from guessing, and the same bytes from every process."""
    headers = response.headers
    headers["X-Content-Type-Options"] = "nosniff"
    headers.setdefault("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
    headers.setdefault("Referrer-Policy", "no-referrer")
    if "Allow" in headers:
        methods = sorted(headers["Allow"].split(", "))
        headers["Allow"] = ", ".join(methods)
        if "QUERY" in methods:
            headers["Accept-Query"] = JSON
    return response
