"""Fields of a request: strict, in SI once read, with messages that say what to do.

Each field says once what it takes: `read` checks it, `json_schema` documents it.
"""

import math
import unicodedata
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, NoReturn

from marshmallow import ValidationError

from arrowloft import units
from arrowloft.api.schemas import MOST_FAULTS, Member, Resolver, Strict
from arrowloft.api.wording import nearest, shown, unit_fault, unit_of, written


class _Bounds(NamedTuple):
    """Inclusive bounds, and exclusive ones."""

    low: float | None
    high: float | None
    above: float | None
    below: float | None

    def ends(self) -> tuple[float, float]:
        """The least and the greatest float inside: one comparison tells most values apart."""
        least = [-math.inf if self.low is None else self.low]
        greatest = [math.inf if self.high is None else self.high]
        if self.above is not None:
            least.append(math.nextafter(self.above, math.inf))
        if self.below is not None:
            greatest.append(math.nextafter(self.below, -math.inf))
        return max(least), min(greatest)


def _refuse(given: str, bounds: _Bounds, say: Callable[[float], str]) -> NoReturn:
    """Raise ValidationError for a value outside the bounds, all in the caller's terms."""
    low, high, above, below = (None if bound is None else say(bound) for bound in bounds)
    if low and high:
        raise ValidationError(f"Give {low} to {high}; {given} is outside.")
    least = f"at least {low}" if low else f"more than {above}" if above else None
    most = f"at most {high}" if high else f"less than {below}" if below else None
    if least and most:
        raise ValidationError(f"Give {least} and {most}; {given} is outside.")
    if least:
        raise ValidationError(f"{given} is too little: give {least}.")
    raise ValidationError(f"{given} is too much: give {most}.")


class Quantity(Member):
    """A number and a unit in one string, read to SI.

    dimension: a name in the table of units.  low, high: inclusive bounds in SI;
    above, below: exclusive ones.  example: what a caller may write.
    """

    def __init__(
        self,
        dimension: str,
        description: str = "",
        *,
        example: str,
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
        below: float | None = None,
        **options: Any,
    ) -> None:
        super().__init__(description, **options)
        self.dimension = dimension
        self.example = example
        self.bounds = _Bounds(low, high, above, below)
        self._least, self._greatest = self.bounds.ends()

    def read(self, value: Any) -> float:
        """SI value of a string such as "281 ft/s"."""
        if type(value) is not str:
            raise ValidationError(
                f'Give a string of a number and a unit, such as "{self.example}".'
            )
        try:
            si = units.parse(value, self.dimension)
        except units.UnitError as error:
            raise ValidationError(unit_fault(value, self.dimension, str(error))) from None
        if not self._least <= si <= self._greatest:
            _refuse(value, self.bounds, lambda bound: self._in_unit_of(value, bound))
        return si

    def _in_unit_of(self, text: str, si: float) -> str:
        """An SI bound in the unit that the caller wrote."""
        return written(si, self.dimension, unit_of(text, self.dimension))

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """A string with the dimension's pattern; the bounds stand in the description."""
        words = ("at least", "at most", "more than", "less than")
        limits = [
            f"{word} {self._in_unit_of(self.example, bound)}"
            for word, bound in zip(words, self.bounds, strict=True)
            if bound is not None
        ]
        text = self.metadata.get("description", "")
        if limits:
            text = f"{text} ({', '.join(limits)})".strip()
        return {
            "type": "string",
            "description": text,
            "pattern": units.pattern(self.dimension),
            "maxLength": units.LONGEST,
            "examples": [self.example],
        }


class Number(Member):
    """A JSON number without a dimension: finite, no boolean, no string."""

    def __init__(
        self,
        description: str = "",
        *,
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
        below: float | None = None,
        **options: Any,
    ) -> None:
        super().__init__(description, **options)
        self.bounds = _Bounds(low, high, above, below)
        self._least, self._greatest = self.bounds.ends()

    def read(self, value: Any) -> float:
        """The number as a float."""
        if type(value) is not float and type(value) is not int:
            raise ValidationError("Give a plain number, without quotes and without a unit.")
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise ValidationError("The number is too large: give a finite one.")
        if not self._least <= number <= self._greatest:
            _refuse(f"{number:.15g}", self.bounds, lambda bound: f"{bound:.6g}")
        return number

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """A number with its bounds."""
        names = ("minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")
        return {"type": "number"} | {
            name: bound for name, bound in zip(names, self.bounds, strict=True) if bound is not None
        }


class WholeNumber(Number):
    """A whole JSON number; 12.0 is 12, as JSON Schema has it."""

    def read(self, value: Any) -> int:
        """The number as an int."""
        number = super().read(value)
        if not number.is_integer():
            raise ValidationError("Give a whole number.")
        return int(number)

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """An integer with its bounds."""
        return super().json_schema(resolver) | {"type": "integer"}


class Text(Member):
    """A short text to be repeated in the reply: 1 to `most` characters on one line."""

    def __init__(self, description: str = "", *, most: int, **options: Any) -> None:
        super().__init__(description, **options)
        self.most = most

    def read(self, value: Any) -> str:
        """The text."""
        if type(value) is not str:
            raise ValidationError("Give a text in quotes.")
        if not value.strip() or len(value) > self.most:
            raise ValidationError(f"Give a text of 1 to {self.most} characters.")
        # Cc control, Cs half a surrogate pair, Zl and Zp ends of lines and paragraphs.
        if any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") for c in value):
            raise ValidationError("Give one line of text, without control characters.")
        return value

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """A string with its bounds."""
        return {"type": "string", "minLength": 1, "maxLength": self.most, "pattern": r"\S"}


class Flag(Member):
    """true or false."""

    def read(self, value: Any) -> bool:
        """The truth value."""
        if type(value) is not bool:
            raise ValidationError("Give true or false, without quotes.")
        return value

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """A boolean."""
        return {"type": "boolean"}


class Choice(Member):
    """One of a few words."""

    def __init__(self, choices: Sequence[str], description: str = "", **options: Any) -> None:
        super().__init__(description, **options)
        self.choices = tuple(choices)

    def read(self, value: Any) -> str:
        """The word."""
        if type(value) is not str:
            raise ValidationError(f"Give one of: {', '.join(self.choices)}.")
        if value not in self.choices:
            raise ValidationError(
                f"{shown(value)} is not one of the choices; {nearest(value, self.choices)}"
            )
        return value

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """An enumeration."""
        return {"type": "string", "enum": list(self.choices)}


class Items(Member):
    """A list of `least` to `most` values of one field, kept in its order."""

    def __init__(
        self, inner: Member, description: str = "", *, least: int = 1, most: int, **options: Any
    ) -> None:
        super().__init__(description, **options)
        self.inner = inner
        self.least, self.most = least, most

    def read(self, value: Any) -> list[Any]:
        """The values; the faulty ones are named."""
        if type(value) is not list:
            raise ValidationError("Give a list in brackets [...].")
        if not self.least <= len(value) <= self.most:
            raise ValidationError(
                f"The list has {len(value)} value{'' if len(value) == 1 else 's'}: give "
                f"{self.least} to {self.most}."
            )
        read = self.inner.read_item
        try:
            return [read(item) for item in value]
        except ValidationError:
            raise ValidationError(self._faults(value)) from None

    def _faults(self, value: list[Any]) -> dict[Any, Any]:
        faults: dict[Any, Any] = {}
        for index, item in enumerate(value):
            try:
                self.inner.read_item(item)
            except ValidationError as error:
                faults[index] = error.messages
                if len(faults) > MOST_FAULTS:
                    break
        return faults

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """An array of what the inner field takes."""
        inner = self.inner.json_schema(resolver)
        if "description" not in inner and (text := self.inner.metadata.get("description")):
            inner["description"] = text
        return {
            "type": "array",
            "items": inner,
            "minItems": self.least,
            "maxItems": self.most,
        }


class Part(Member):
    """An object of its own schema, whose instance is made once."""

    def __init__(self, schema: Strict, description: str = "", **options: Any) -> None:
        super().__init__(description, **options)
        self.schema = schema

    def read(self, value: Any) -> dict[str, Any]:
        """The object's members."""
        return self.schema.read(value)

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """A reference to the schema."""
        return dict(resolver.resolve_nested_schema(self.schema))
