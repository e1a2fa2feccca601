"""`?echo=true`: the reply with a last member `replay`, all it takes to compute it again."""

import platform
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

import orjson
from flask import Request, Response, request
from marshmallow import Schema, fields
from werkzeug.exceptions import NotAcceptable

from arrowloft import __version__
from arrowloft.api import reading, replies
from arrowloft.api.canonical import digest
from arrowloft.api.problems import Problem
from arrowloft.api.replies import JSON
from arrowloft.api.reply_schemas import many, part, text
from arrowloft.api.schemas import Strict
from arrowloft.api.wording import shown
from arrowloft.plugin.registry import Registry

ECHO = "echo"

View = Callable[..., Response]

PARAMETER: Mapping[str, Any] = {
    "name": ECHO,
    "in": "query",
    "description": "true: the JSON reply has a last member `replay`, with the request, what "
    "computed the reply, and digests of all three.",
    "schema": {"type": "boolean", "default": False},
}
"""The query parameter, for the document."""


class ModelUsed(Strict):
    """A model that the request names."""

    kind = text("What it models.", enum=["drag", "launch"])
    name = text("Its name.")
    version = text("Its version: it changes whenever an answer changes.")
    origin = text("The installed distribution that it came with.")


class MadeWith(Strict):
    """What computed a reply."""

    arrowloft = text("Version of the service.")
    python = text("Version of Python.")
    numpy = text("Version of NumPy.")
    scipy = text("Version of SciPy.")
    machine = text("Kind of processor: it decides the last bits of a number.")
    models = many(ModelUsed(), "Every model that the request names, by kind and name.")


_DIGEST = "^sha256:[0-9a-f]{64}$"
_RECORD = "record_digest"
_UNRECORDED = ("request", _RECORD)
"""Members of `replay` that its digest leaves out: the request stands in it by its own digest."""


class Replay(Strict):
    """All it takes to compute a reply again."""

    path = text("Path that was asked, by POST or QUERY.", format="uri-reference")
    request = fields.Dict(
        required=True,
        metadata={"description": "The request, number by number as it was sent."},
    )
    request_digest = text(
        "Digest of `request`: SHA-256 of its canonical JSON (RFC 8785), in UTF-8, members sorted "
        "by name, nothing between the tokens, every number as ECMAScript writes the double it "
        "stands for: 1, 1.0 and 1e0 are all written 1. `arrowloft digest` prints it.",
        pattern=_DIGEST,
    )
    reply_digest = text(
        "Digest, made alike, of the whole reply without its member `replay`.", pattern=_DIGEST
    )
    made_with = part(MadeWith(), "What computed the reply.")
    record_digest = text(
        "Digest, made alike, of this object without `request` and `record_digest`: of `path`, "
        "`request_digest`, `reply_digest` and `made_with`, and so of everything. Digests show "
        "slips and edits, and are no signature: whoever edits a reply can make new ones.",
        pattern=_DIGEST,
    )


@dataclass(frozen=True)
class Digests:
    """The digests of a reply, as they stand in its member `replay`."""

    request_digest: str
    reply_digest: str
    record_digest: str

    @classmethod
    def of(cls, reply: Mapping[str, Any]) -> "Digests":
        """Of a reply with a member `replay`, computed anew; raises ValueError as `digest` does."""
        replay = reply["replay"]
        plain = {name: value for name, value in reply.items() if name != "replay"}
        return cls(digest(replay["request"]), digest(plain), record_digest(replay))


def record_digest(replay: Mapping[str, Any]) -> str:
    """Digest of the member `replay`, which holds the digests of request and reply."""
    return digest({name: value for name, value in replay.items() if name not in _UNRECORDED})


def with_replay(schema: Schema) -> Schema:
    """The schema of a reply, which may hold the member `replay`."""
    kind = type(schema)
    replay = part(Replay(), "With echo=true: all it takes to compute it again.", required=False)
    return kind.from_dict({"replay": replay}, name=kind.__name__)()


@dataclass(frozen=True)
class Replayable:
    """What makes replies replayable: the models, and the versions of what computes.

    versions: name -> version of all but the models, as `made_with` has them.
    """

    registry: Registry
    versions: Mapping[str, str]

    @classmethod
    def of(cls, registry: Registry) -> "Replayable":
        """With the versions of this process; read here, once."""
        return cls(
            registry,
            {
                "arrowloft": __version__,
                "python": platform.python_version(),
                "numpy": version("numpy"),
                "scipy": version("scipy"),
                "machine": platform.machine(),
            },
        )

    def view(self, plain: View, forms: tuple[str, ...]) -> View:
        """The view, which answers echo=true as well.

        forms: media types of its replies beside JSON.
        """

        def answered(**values: Any) -> Response:
            # Most requests have no query: they are spared its parsing.
            if not request.environ.get("QUERY_STRING") or not wanted(request):
                return plain(**values)
            _check_form(request, forms)
            response = plain(**values)
            return self.replayable(response, request.path, reading.body_of(request))

        return answered

    def replayable(self, response: Response, path: str, asked: bytes) -> Response:
        """The JSON reply with its member `replay`.

        asked: the request's body, one strict JSON object: it is repeated byte for byte, so
        that no number in it is written anew.
        """
        said = response.get_data().rstrip()
        content = orjson.loads(asked)
        replay = {
            "path": path,
            "request": orjson.Fragment(asked),
            "request_digest": digest(content),
            "reply_digest": digest(orjson.loads(said)),
            "made_with": {**self.versions, "models": self.models(content)},
        }
        replay[_RECORD] = record_digest(replay)
        response.set_data(b'%s,"replay":%s}' % (said[:-1], orjson.dumps(replay)))
        return response

    def models(self, content: Any) -> list[dict[str, str]]:
        """Every model that a request names, by kind and name."""
        return [
            {
                "kind": kind,
                "name": name,
                "version": self.registry.get(kind, name).version,
                "origin": str(self.registry.origin(kind, name)),
            }
            for kind, name in sorted(set(_named(content, self.registry, *self.registry.models)))
        ]


def _named(content: Any, registry: Registry, *kinds: str) -> Iterator[tuple[str, str]]:
    """Kind and name of the models that objects name in their member `model`.

    kinds: which kinds it may be, as far as the names of the members around tell: a model in
    `drag` or `drags` is a drag model; where they do not tell, any kind that has the name.
    """
    if isinstance(content, list):
        for item in content:
            yield from _named(item, registry, *kinds)
    elif isinstance(content, dict):
        name = content.get("model")
        yield from ((kind, name) for kind in kinds if name in registry.names(kind))
        for member, value in content.items():
            told = [kind for kind in registry.models if member.startswith(kind)]
            yield from _named(value, registry, *(told or kinds))


def wanted(asked: Request) -> bool:
    """Whether the query asks for the echo; raises Problem where it says neither true nor false."""
    said = asked.args.getlist(ECHO)
    if said in ([], ["false"]):
        return False
    if said == ["true"]:
        return True
    given = "it stands here more than once" if len(said) > 1 else f"{shown(said[0])} is neither"
    raise Problem(
        "invalid-request", f"Give the query parameter echo once, as true or false; {given}."
    )


def _check_form(asked: Request, forms: tuple[str, ...]) -> None:
    """Refuse other forms before they are computed: a file of theirs has no place for a request."""
    if replies.negotiate(asked, JSON, *forms) != JSON:
        raise NotAcceptable(
            "With echo=true this resource comes as application/json only: accept that, or leave "
            "echo out."
        )
