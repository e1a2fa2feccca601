"""What a request may take, time and work: a view is ended at its limit, and answered so."""

import json
import logging
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from flask import Flask, request

from arrowloft.api.problems import KINDS, Fault, Problem
from arrowloft.api.reading import SENDER, body_of, escape
from arrowloft.api.resource import Limits
from arrowloft.core.flight import work
from arrowloft.plugin.time_limit import TookTooLong, within

_log = logging.getLogger(__name__)


def install(app: Flask, seconds: float, most: int = Limits.work) -> None:
    """Give every view of the app so many seconds of wall time, and `most` work.

    To be called when all views are there.  In threads other than the main one there is no
    limit of time: see `plugin.time_limit`.
    """
    for name, view in app.view_functions.items():
        app.view_functions[name] = _limited(view, seconds, most)


def _limited(view: Callable[..., Any], seconds: float, most: int) -> Callable[..., Any]:
    def answered(**values: Any) -> Any:
        try:
            with work.allowed(most):
                return within(seconds, partial(view, **values))
        except work.TooMuchWork as error:
            raise _too_much(error.most) from None
        except TookTooLong as error:
            problem = _problem(error)
            if KINDS[problem.code].status >= 500:
                _log.error("a request took too long", exc_info=error)
            raise problem from error

    return answered


def _too_much(most: int) -> Problem:
    detail = (
        f"This takes more than the {most:,} evaluations of drag laws that are allowed. "
        + KINDS["too-much-work"].advice
    )
    # It is the request as a whole: the empty pointer.
    return Problem("too-much-work", detail, [Fault("", detail)], allowed=most)


def too_long(seconds: float) -> Problem:
    """The problem of a request that took longer than so many seconds, by no model's fault."""
    detail = f"The request took longer than {seconds:g} s. "
    return Problem("takes-too-long", detail + KINDS["takes-too-long"].advice)


def _problem(error: TookTooLong) -> Problem:
    """The problem of the model that took the time, wherever the request names it, or of no one."""
    if error.model is None:
        return too_long(error.seconds)
    if error.model == (SENDER.kind, SENDER.name):
        return Problem("body-too-slow", KINDS["body-too-slow"].advice)
    kind, name = error.model
    detail = (
        f"The {kind} model {name!r} took too long: a request may take {error.seconds:g} s. Choose "
        "another, or ask for fewer things at once, and report the request to the model's author."
    )
    # A model runs only once the body has been read.
    chosen = _choices(json.loads(body_of(request)), kind, name)
    faults = [Fault(pointer, detail) for pointer in chosen]
    return Problem("model-fault", detail, faults, model=name)


def _choices(part: Any, kind: str, name: str, pointer: str = "") -> Iterator[str]:
    """Pointers to where a part of a request chooses this model, as in `drag` or `drags/2`."""
    items = part.items() if isinstance(part, dict) else enumerate(part)
    for key, inner in items:
        step = f"{pointer}/{escape(key)}"
        if isinstance(inner, dict | list):
            yield from _choices(inner, kind, name, step)
        elif key == "model" and inner == name and f"/{kind}" in pointer:
            yield step
