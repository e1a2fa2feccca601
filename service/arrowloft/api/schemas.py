"""Strict schemas: every member is named, unknown ones are refused, valid requests read fast."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Any, Protocol, cast

from marshmallow import RAISE, Schema, ValidationError, fields, validates_schema

from arrowloft.api.wording import nearest, shown

MOST_FAULTS = 20
"""Most faults that one reply lists; a list's search for them ends one later."""

_UNKNOWN = "unknown member"


class Resolver(Protocol):
    """What turns a nested schema into a reference: apispec's converter."""

    def resolve_nested_schema(self, schema: Any) -> dict[str, Any]:
        """A JSON Schema reference to the schema."""


class Strict(Schema):
    """A schema that takes its members and no others, and names the nearest to a stranger."""

    error_messages = {  # noqa: RUF012
        "unknown": _UNKNOWN,
        "type": "Give an object in braces {...}.",
    }

    class Meta:
        """Unknown members are errors, in the document too."""

        unknown = RAISE

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self._members = tuple(self.load_fields.items())

    def check(self, data: dict[str, Any]) -> None:
        """Raise ValidationError, with a member's name, for members that do not fit together."""

    @validates_schema
    def _check_members(self, data: dict[str, Any], **_: Any) -> None:
        self.check(data)

    def read(self, data: Any) -> dict[str, Any]:
        """What `load` gives, in a third of its time where there is nothing to complain of.

        At the first fault `load` takes over, to gather all of them.
        """
        if type(data) is not dict:
            return self.load(data)  # type: ignore[no-any-return]
        found: dict[str, Any] = {}
        try:
            for name, member in self._members:
                value = data.get(name)
                if value is not None:
                    found[name] = member.read(value)  # type: ignore[attr-defined]
                elif member.required or name in data:  # missing, or null
                    return self.load(data)  # type: ignore[no-any-return]
            if len(found) == len(data):
                self.check(found)
                return found
        except ValidationError:
            pass
        return self.load(data)  # type: ignore[no-any-return]

    def handle_error(self, error: ValidationError, data: Any, **_: Any) -> None:
        """Put the messages into one order, and say what an unknown member may have meant."""
        messages = error.messages
        if not isinstance(messages, dict) or not isinstance(data, Mapping):
            return
        known = [field.data_key or name for name, field in self.load_fields.items()]
        ordered = {name: messages[name] for name in known if name in messages}
        strangers = sorted(name for name in messages if name not in ordered)
        for name in strangers:
            if messages[name] == [_UNKNOWN]:
                # A pointer to "_schema" would be read as one to the whole object.
                hint = nearest(name, known) if len(strangers) <= 50 else "leave it out."
                ordered[name] = [f"{shown(name)} is not a member here; {hint}"]
            else:
                ordered[name] = messages[name]
        error.messages = ordered


def strict(name: str, members: Mapping[str, Any]) -> type[Strict]:
    """A strict schema of these members, whose names may be words that Python reserves."""
    return cast(type[Strict], Strict.from_dict(dict(members), name=name))


class Member(fields.Field[Any], ABC):
    """A strict field: one `read`, one `json_schema`, no validators beside them."""

    default_error_messages = {  # noqa: RUF012
        "required": "This member is needed: add it.",
        "null": "null is no value here: leave the member out, or give one.",
    }

    def __init__(self, description: str = "", **options: Any) -> None:
        metadata = {"description": description} if description else {}
        super().__init__(metadata=metadata, **options)

    @abstractmethod
    def read(self, value: Any) -> Any:
        """The checked value in SI; ValidationError says what to do instead."""

    @abstractmethod
    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """What `read` takes, as JSON Schema."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **_: Any) -> Any:
        return self.read(value)

    def _validate(self, value: Any) -> None:
        """Nothing: `read` has checked it."""

    def read_item(self, value: Any) -> Any:
        """One element of a list."""
        if value is None:
            raise self.make_error("null")
        return self.read(value)


def documented(resolver: Resolver, field: Any, **_: Any) -> dict[str, Any]:
    """The attribute function for apispec: a strict field documents itself."""
    return field.json_schema(resolver) if isinstance(field, Member) else {}
