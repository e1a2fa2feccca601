"""Every error reply: one shape after RFC 9457, `application/problem+json`, made here only."""

import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

import orjson
from flask import Flask, Response
from marshmallow import ValidationError
from werkzeug.exceptions import HTTPException, MethodNotAllowed

from arrowloft.api.reading import MalformedJson, escape
from arrowloft.api.schemas import MOST_FAULTS
from arrowloft.api.wording import sentence
from arrowloft.plugin import CaseError, ParameterError
from arrowloft.plugin.guard import ModelFault

MEDIA_TYPE = "application/problem+json"

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Kind:
    """One kind of problem: its status, its title, and what a caller can do about it."""

    status: int
    title: str
    advice: str


KINDS: Mapping[str, Kind] = {
    "malformed-json": Kind(
        400,
        "The body is not strict JSON",
        "Send one JSON object in UTF-8, without duplicate members, NaN or infinities.",
    ),
    "bad-request": Kind(400, "The request cannot be read", "Send a well-formed HTTP request."),
    "key-required": Kind(
        401,
        "The service asks for a key",
        "Send a valid key as Authorization: Bearer KEY; whoever runs the service gives keys.",
    ),
    "not-found": Kind(
        404,
        "There is nothing here",
        "GET /openapi.json lists every path, GET /v1/models every model.",
    ),
    "method-not-allowed": Kind(
        405, "The path does not answer this method", "Use a method that the Allow header names."
    ),
    "not-acceptable": Kind(
        406, "None of the accepted forms exists", "Accept one of the media types in the detail."
    ),
    "body-too-slow": Kind(
        408,
        "The body took too long to arrive",
        "Send the whole body at once, or through a proxy that buffers it.",
    ),
    "length-required": Kind(
        411, "The length of the body is not known", "Send the body with a Content-Length."
    ),
    "precondition-failed": Kind(
        412,
        "The reply is no longer what the request asks for",
        "Leave out If-Match, or send the ETag of the newest reply.",
    ),
    "too-large": Kind(413, "The body is too large", "Ask for fewer things at once."),
    "target-too-long": Kind(
        414, "The path and its query are too long", "Send a path that /openapi.json lists."
    ),
    "unsupported-media-type": Kind(
        415, "The body is not sent as JSON", "Send JSON with Content-Type: application/json."
    ),
    "invalid-request": Kind(
        422,
        "Members of the request are invalid",
        "Correct the members that `errors` points at; /openapi.json shows each one's form.",
    ),
    "model-cannot-answer": Kind(
        422,
        "A model cannot answer for this set-up",
        "Give or correct the member that `errors` points at, or choose another model.",
    ),
    "outside-validity": Kind(
        422,
        "A model refuses this case",
        "Stay inside the range that the detail names, or choose another model.",
    ),
    "beyond-reach": Kind(
        422,
        "A target is beyond reach",
        "Ask for distances up to the farthest that the detail names.",
    ),
    "cannot-be-followed": Kind(
        422,
        "The flight cannot be followed",
        "Check mass, diameter, drag and speed: they describe an arrow that hardly flies.",
    ),
    "cannot-be-fitted": Kind(
        422,
        "The observations cannot be fitted",
        "Check the observations and the set-up against each other: marks, signs, units and "
        "distances. Leave out what is in doubt, or give smaller priors.",
    ),
    "no-such-path": Kind(
        422,
        "The path asked for does not exist",
        "Change the launch angle or the end, or ask for samples instead of steps.",
    ),
    "too-many-requests": Kind(
        429,
        "Too many requests at once",
        "Wait for as many seconds as Retry-After says, and ask less often.",
    ),
    "headers-too-large": Kind(
        431, "The headers are too large", "Send fewer and shorter header fields."
    ),
    "too-much-work": Kind(
        422,
        "The request takes too much work",
        "Ask for fewer distances, samples, lanes or set-ups at once, for nearer distances, or give "
        "a drag law with fewer kinks, such as a shorter table.",
    ),
    "model-fault": Kind(
        500,
        "A model failed",
        "Choose another model, and report the model and the request to its author.",
    ),
    "unreachable": Kind(
        502,
        "The service cannot be reached",
        "Ask again later; the request itself is not at fault.",
    ),
    "takes-too-long": Kind(
        503,
        "The request takes too long",
        "Ask for fewer things at once; where others keep the service busy, ask again later.",
    ),
    "overloaded": Kind(
        503,
        "The service is full",
        "Wait for as many seconds as Retry-After says, and ask again.",
    ),
    "not-ready": Kind(
        503,
        "The service does not compute rightly",
        "Ask another instance; who runs this one finds the reason in the detail and in its log.",
    ),
    "defect": Kind(
        500, "The service failed", "The fault is ours: report the request that led to it."
    ),
}

_BY_STATUS: Mapping[int, str] = {
    kind.status: code for code, kind in reversed(list(KINDS.items())) if kind.status < 500
} | {400: "bad-request", 422: "invalid-request", 500: "defect"}


@dataclass(frozen=True)
class Fault:
    """One entry of `errors`: JSON pointer to the member at fault, and what to do about it."""

    pointer: str
    detail: str


class Problem(Exception):
    """Raised where the request cannot be answered; becomes the reply.

    code: a key of KINDS.  detail: one or two sentences for this very request.
    members: further members of the reply.
    """

    def __init__(
        self, code: str, detail: str, errors: Sequence[Fault] = (), **members: Any
    ) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.errors = tuple(errors)
        self.members = members


def reply(problem: Problem, headers: Sequence[tuple[str, str]] = ()) -> Response:
    """The problem as a reply."""
    kind = KINDS[problem.code]
    body: dict[str, Any] = {
        "type": f"/problems/{problem.code}",
        "title": kind.title,
        "status": kind.status,
        "detail": problem.detail,
        "errors": [
            {"pointer": fault.pointer, "detail": fault.detail}
            for fault in problem.errors[:MOST_FAULTS]
        ],
    } | problem.members
    response = Response(_dumps(body), status=kind.status, mimetype=MEDIA_TYPE)
    response.headers["Cache-Control"] = "no-store"
    response.headers.extend(headers)
    return response


def _dumps(body: dict[str, Any]) -> bytes:
    try:
        return orjson.dumps(body)
    except TypeError:
        # orjson refuses half surrogate pairs, which a percent-encoded path may hold.
        body = body | {"detail": body["title"], "errors": []}
        return orjson.dumps(body)


def from_validation(error: ValidationError) -> Problem:
    """The problem for what a schema refused."""
    # One more than are listed: a body may hold thousands.
    faults = list(islice(faults_in(error.messages), MOST_FAULTS + 1))
    if len(faults) == 1:
        detail = faults[0].detail
    elif len(faults) <= MOST_FAULTS:
        detail = f"{len(faults)} members need correction."
    else:
        detail = f"Many members need correction; the first {MOST_FAULTS} are listed."
    return Problem("invalid-request", detail, faults)


def faults_in(messages: Any, pointer: str = "") -> Iterator[Fault]:
    """The leaves of marshmallow's nested messages, each with its JSON pointer."""
    if isinstance(messages, Mapping):
        for name, inner in messages.items():
            step = "" if name == "_schema" else f"/{escape(name)}"
            yield from faults_in(inner, pointer + step)
    elif isinstance(messages, str):
        yield Fault(pointer, messages)
    else:
        for inner in messages:
            yield from faults_in(inner, pointer)


def from_http(error: HTTPException) -> Problem:
    """The problem for an HTTP error that Flask, Werkzeug or a view raised."""
    status = error.code or 500
    code = _BY_STATUS.get(status, "bad-request" if status < 500 else "defect")
    ours = error.description if error.description != type(error).description else None
    if isinstance(error, MethodNotAllowed):
        methods = sorted(set(error.valid_methods or ()) - {"HEAD", "OPTIONS"})
        ours = f"Use {' or '.join(methods)} here."
    detail = ours or KINDS[code].advice
    # Too large is the body as a whole: the empty pointer.
    return Problem(code, detail, (Fault("", detail),) if code == "too-large" else ())


def install(app: Flask) -> None:
    """Make every error of the app a problem reply."""

    @app.errorhandler(Problem)
    def problem(error: Problem) -> Response:
        return reply(error)

    @app.errorhandler(MalformedJson)
    def malformed(error: MalformedJson) -> Response:
        faults = () if error.pointer is None else (Fault(error.pointer, error.detail),)
        return reply(Problem("malformed-json", error.detail, faults))

    @app.errorhandler(ValidationError)
    def invalid(error: ValidationError) -> Response:
        return reply(from_validation(error))

    @app.errorhandler(CaseError)
    def case(error: CaseError) -> Response:
        return reply(from_case(error))

    @app.errorhandler(ParameterError)
    def parameter(error: ParameterError) -> Response:
        return reply(from_parameter(error, "drag"))

    @app.errorhandler(ModelFault)
    def fault(error: ModelFault) -> Response:
        _log.error("a model failed", exc_info=error)
        return reply(from_model_fault(error))

    @app.errorhandler(HTTPException)
    def http(error: HTTPException) -> Response:
        headers = [item for item in error.get_headers() if item[0].lower() == "allow"]
        return reply(from_http(error), headers)

    @app.errorhandler(Exception)
    def defect(error: Exception) -> Response:
        _log.error("unhandled exception", exc_info=error)
        return reply(Problem("defect", KINDS["defect"].advice))


def from_parameter(error: ParameterError, kind: str) -> Problem:
    """The problem for a model's parameters that do not fit together.

    kind: the model's, unless the error knows better.
    """
    detail = sentence(error.message)
    pointer = f"/{error.kind or kind}/parameters/{escape(error.parameter)}"
    return Problem("invalid-request", detail, (Fault(pointer, detail),))


def from_case(error: CaseError) -> Problem:
    """The problem for a model that cannot answer for this bow, arrow or air."""
    pointer = "".join(f"/{escape(step)}" for step in error.member.split("/") if step)
    return Problem("model-cannot-answer", error.message, (Fault(pointer, error.message),))


def from_model_fault(error: ModelFault) -> Problem:
    """The problem for a model that failed: names it, and keeps what it said to the log."""
    detail = (
        f"The {error.kind} model {error.name!r} failed on this request. Choose another, and "
        "report the request to the model's author."
    )
    return Problem(
        "model-fault", detail, (Fault(f"/{error.kind}/model", detail),), model=error.name
    )
