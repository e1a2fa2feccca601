"""The one place that knows every layer: `create_app` makes the WSGI application."""

import os
from collections.abc import Callable
from typing import Any

from flask import Flask

from arrowloft.api import catalogue, openapi, problems, time_limit
from arrowloft.api.resource import Edge, Pages, Pictures
from arrowloft.kiosk import pages
from arrowloft.operation import (
    access,
    caching,
    cross_origin,
    headers,
    observing,
    proxies,
)
from arrowloft.operation.settings import Settings
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


def service() -> Flask:
    """The service as the environment's variables set it up: what gunicorn runs.

    Raises PluginFaults, and BadSetting where a variable cannot be understood.
    """
    return create_app(settings=Settings.from_environment(os.environ))


def create_app(
    registry: Registry | None = None,
    settings: Settings | None = None,
    examples: openapi.Examples | None = None,
) -> Flask:
    """The service as a WSGI application.

    registry: the models to offer; those installed where not given.
    settings: how it is operated; the defaults where not given.
    examples: operation -> worked example, for the document.
    Raises PluginFaults where an installed model breaks the contract.
    """
    settings = settings or Settings()
    app = Flask("arrowloft", static_folder=None)
    # Doubled slashes are unknown paths: a redirect would answer without the problem shape.
    app.url_map.merge_slashes = False
    shown = pages.install(app)
    edge = Edge.of(
        registry or Registry.discover(),
        settings.limits,
        _pictures(),
        Pages(entrance=shown.kiosk, document=shown.document),
    )
    catalogue.install(app, edge, examples or {}, settings.waiting)
    time_limit.install(app, edge.limits.seconds, edge.limits.work)
    problems.install(app)
    _operate(app, settings)
    return app


def _operate(app: Flask, settings: Settings) -> None:
    """Put around the resources what stands around them while the service runs.

    Each looks at a request in this order, and at its reply in the opposite one.
    """
    for around in (proxies, observing, headers, cross_origin, access, caching):
        around.install(app, settings)


def _pictures() -> Pictures:
    return Pictures(
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
    )


def _whole(draw: Callable[..., bytes]) -> Callable[..., bytes]:
    """A drawing that the time limit ends at its end only.

    The plotting library, imported with the first one, and its settings are the process's.
    """

    def drawn(*given: Any) -> bytes:
        with Uninterrupted():
            return draw(*given)

    return drawn
