"""A kept reply computed again, and compared number by number and text by text."""

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Self

from flask import Flask

from arrowloft.api.echo import Digests
from arrowloft.api.reading import MalformedJson, escape, parse_object
from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.operation.settings import Settings
from arrowloft.plugin.registry import Registry

TOLERANCE = 1e-12
"""Largest relative difference of numbers that count as the same; replies are rounded far above."""

_NOISE = {"error_estimate", "position_error", "evaluations"}
"""Estimates of numerical error, and counts of iterations: rounding noise decides them."""
_GROWTH = 100.0
"""How many times as large one of them may become and still be noise."""
_ROUNDING = 1e-12
"""An estimate up to here, in whatever unit, is of rounding alone: growth counts from here."""
_VERSION = "version"
"""Member that says a version: it tells why numbers differ, and is no result itself."""
_JSON = "application/json"
LIMITS = Limits(body=16 * 1024 * 1024, seconds=600.0, work=10**12)
"""Of the service in this process: nobody else waits for it, and a number written anew is longer."""


class CannotReplay(Exception):
    """The reply cannot be computed again; the message says why and what to do."""


class _Absent:
    """Stands for a member that one of two replies lacks."""

    def __repr__(self) -> str:
        return "nothing"


ABSENT = _Absent()


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A value that is not the same any more.

    pointer: JSON pointer to it in the reply.  kept, found: in the file, and computed now;
    ABSENT where there is none.
    """

    pointer: str
    kept: Any
    found: Any

    @property
    def relative(self) -> float | None:
        """|kept - found| as a share of the larger one; None where they are not both numbers."""
        if not (_is_number(self.kept) and _is_number(self.found)):
            return None
        return _relative(self.kept, self.found)


@dataclass(kw_only=True)
class Outcome:
    """What a replay found.

    path: that was asked.  numbers, others: how many values were compared; the others are
    texts, true, false and null.  differences: what is not the same.
    noise: estimates of numerical error and counts of iterations that differ, as they do from
    one processor to the next; those that grew a hundredfold are differences.
    versions: what computed the reply: name, version then, version now, where they differ.
    request_edited, reply_edited, record_edited: whether the digest is another than when the
    reply was made; the record is the rest of `replay`: path, digests and what computed it.
    """

    path: str
    numbers: int = 0
    others: int = 0
    differences: list[Difference] = field(default_factory=list)
    noise: list[Difference] = field(default_factory=list)
    versions: list[tuple[str, str, str]] = field(default_factory=list)
    request_edited: bool = False
    reply_edited: bool = False
    record_edited: bool = False

    @property
    def edited(self) -> bool:
        """Whether any part is another than when the reply was made."""
        return self.request_edited or self.reply_edited or self.record_edited

    @property
    def same(self) -> bool:
        """Whether all is as it was when the reply was made."""
        return not (self.differences or self.edited)

    @property
    def numbers_differ(self) -> int:
        """How many of the differences are of numbers."""
        return sum(_is_number(item.kept) or _is_number(item.found) for item in self.differences)


@dataclass(frozen=True)
class Replayer:
    """The service in this process, which computes kept replies again."""

    registry: Registry
    app: Flask

    @classmethod
    def here(cls) -> Self:
        """With the models installed; raises PluginFaults."""
        registry = Registry.discover()
        return cls(registry, create_app(registry, Settings(limits=LIMITS)))

    def replay(self, reply: Mapping[str, Any], tolerance: float = TOLERANCE) -> Outcome:
        """The outcome for one reply that was asked for with echo=true.

        tolerance: largest relative difference of numbers that count as the same.
        Raises CannotReplay.
        """
        kept = dict(reply)
        replay = _Kept.of(kept.pop("replay", None))
        try:
            true = Digests.of(reply)
        except ValueError as error:
            raise CannotReplay(f"It holds what no reply holds: {error}.") from None
        outcome = Outcome(
            path=replay.path,
            request_edited=true.request_digest != replay.request_digest,
            reply_edited=true.reply_digest != replay.reply_digest,
            record_edited=true.record_digest != replay.record_digest,
        )
        self._check_models(replay.made_with)
        found = self._computed(replay)
        made_now = found.pop("replay")["made_with"]
        outcome.versions += _other_versions(replay.made_with, made_now)
        _compare(outcome, kept, found, tolerance)
        return outcome

    def _check_models(self, made_with: Mapping[str, Any]) -> None:
        for (kind, name), (version, origin) in _models(made_with).items():
            if name not in self.registry.names(kind):
                raise CannotReplay(
                    f"The {kind} model {name!r} (version {version}, of {origin}) is not installed "
                    "here: install it and try again."
                )

    def _computed(self, replay: "_Kept") -> dict[str, Any]:
        answered = self.app.test_client().post(
            replay.path,
            query_string={"echo": "true"},
            data=json.dumps(replay.request, ensure_ascii=False, separators=(",", ":")).encode(),
            content_type=_JSON,
        )
        content = answered.get_json(silent=True)
        if answered.status_code == 200 and isinstance(content, dict) and "replay" in content:
            return content
        if answered.status_code in (404, 405):
            raise CannotReplay(f"This version of arrowloft does not compute {replay.path}.")
        failed = failed_here(content) if isinstance(content, dict) else None
        if failed:
            raise CannotReplay(failed)
        raise CannotReplay(f"This version of arrowloft refuses the request: {_said(content)}")


@dataclass(frozen=True)
class _Kept:
    """The member `replay` of a kept reply."""

    path: str
    request: dict[str, Any]
    request_digest: str
    reply_digest: str
    made_with: dict[str, Any]
    record_digest: str

    @classmethod
    def of(cls, member: Any) -> Self:
        if member is None:
            raise CannotReplay(
                "It has no member `replay`: only a reply that was asked for with echo=true has."
            )
        names = cls.__annotations__
        values: list[Any] = [member.get(name) for name in names] if type(member) is dict else []
        if [type(value) for value in values] != [str, dict, str, str, dict, str]:
            raise CannotReplay(f"Its member `replay` does not hold {', '.join(names)}.")
        kept = cls(*values)
        if not kept.path.startswith("/") or "?" in kept.path:
            raise CannotReplay("Its member `replay` names no path of the service.")
        return kept


def read_reply(text: bytes) -> dict[str, Any]:
    """A kept reply from the bytes of its file; raises CannotReplay."""
    try:
        return parse_object(text)
    except MalformedJson as error:
        fault = error.detail.rpartition(": ")[0].removeprefix("The body is ")
        where = f"; at {error.pointer}" if error.pointer else ""
        raise CannotReplay(f"It cannot be read as strict JSON ({fault}{where}).") from None


def failed_here(problem: Mapping[str, Any]) -> str | None:
    """What to say of a model that failed, to whoever runs it and may be its author; or None."""
    if problem.get("type") != "/problems/model-fault":
        return None
    name = problem.get("model")
    return f"The model {name!r} failed: its traceback, on standard error, has the cause."


def _said(content: Any) -> str:
    """What a problem says, its members at fault after it."""
    if not isinstance(content, dict):
        return "no reason given."
    errors = [f"{item['pointer']}: {item['detail']}" for item in content.get("errors", ())]
    return " ".join([str(content.get("detail", "no reason given.")), *errors])


def _models(made_with: Mapping[str, Any]) -> dict[tuple[str, str], tuple[str, str]]:
    """(kind, name) -> version and origin of the models in `made_with`."""
    listed = made_with.get("models")
    return {
        (str(item.get("kind")), str(item.get("name"))): (
            str(item.get(_VERSION)),
            str(item.get("origin")),
        )
        for item in (listed if isinstance(listed, list) else ())
        if isinstance(item, dict)
    }


def _other_versions(
    then: Mapping[str, Any], now: Mapping[str, Any]
) -> Iterator[tuple[str, str, str]]:
    """Name, version then and version now of what differs."""
    for name, version in now.items():
        if name != "models" and then.get(name) != version:
            yield name, str(then.get(name, "unknown")), str(version)
    before = _models(then)
    for key, (version, origin) in _models(now).items():
        old_version, old_origin = before.get(key, ("unknown", "unknown"))
        name = f"{key[0]} model {key[1]}"
        if old_version != version:
            yield name, old_version, version
        if old_origin != origin:
            yield f"origin of {name}", old_origin, origin


def _compare(
    outcome: Outcome, kept: dict[str, Any], found: dict[str, Any], tolerance: float
) -> None:
    """Count and compare all values of two replies."""
    for pointer, old, new in _pairs(kept, found, ""):
        name = pointer.rpartition("/")[2]
        difference = Difference(pointer=pointer, kept=old, found=new)
        if _is_number(old) or _is_number(new):
            outcome.numbers += 1
        else:
            outcome.others += 1
        if _same(old, new, tolerance):
            continue
        if name in _NOISE and is_noise(difference):
            outcome.noise.append(difference)
        elif not (name == _VERSION and isinstance(old, str) and isinstance(new, str)):
            outcome.differences.append(difference)


def is_noise(difference: Difference) -> bool:
    """Whether two estimates, or counts, differ no more than by noise."""
    if difference.relative is None:
        return False
    return bool(abs(difference.found) <= _GROWTH * max(abs(difference.kept), _ROUNDING))


def _pairs(kept: Any, found: Any, pointer: str) -> Iterator[tuple[str, Any, Any]]:
    """Pointer and both values of every leaf of either, in the order of the file."""
    if isinstance(kept, dict) and isinstance(found, dict):
        for name in [*kept, *(name for name in found if name not in kept)]:
            yield from _pairs(
                kept.get(name, ABSENT), found.get(name, ABSENT), f"{pointer}/{escape(name)}"
            )
    elif isinstance(kept, list) and isinstance(found, list):
        for index in range(max(len(kept), len(found))):
            old = kept[index] if index < len(kept) else ABSENT
            new = found[index] if index < len(found) else ABSENT
            yield from _pairs(old, new, f"{pointer}/{index}")
    else:
        yield pointer, kept, found


def _same(old: Any, new: Any, tolerance: float) -> bool:
    if _is_number(old) and _is_number(new):
        return bool(old == new) or _relative(old, new) <= tolerance
    return type(old) is type(new) and bool(old == new)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _relative(old: float, new: float) -> float:
    """The difference as a share of the larger number; infinite where no double holds one."""
    try:
        largest = max(abs(float(old)), abs(float(new)))
        return abs(float(old) - float(new)) / largest if largest else 0.0
    except OverflowError:
        return math.inf
