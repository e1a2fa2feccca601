"""Replies: SI results in the caller's units, rounded, as JSON or CSV in the form accepted."""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import orjson
from flask import Request, Response
from werkzeug.exceptions import NotAcceptable

from arrowloft import units
from arrowloft.core.arrays import Array
from arrowloft.plugin import Source

JSON = "application/json"
CSV = "text/csv"

# Smallest step of a reply in SI: far below what can be set or measured, above noise.
_RESOLUTION: Mapping[str, float] = {
    "distance": 1e-6,
    "length": 1e-6,
    "angle": 1e-8,
    "speed": 1e-5,
    "time": 1e-6,
    "mass": 1e-9,
    "energy": 1e-5,
    "momentum": 1e-7,
    "force": 1e-4,
    "temperature": 1e-3,
    "pressure": 1e-1,
    "area": 1e-12,
    "ground_area": 1e-1,
    "moment": 1e-6,
    "stiffness": 1e-7,
    "mass_per_force": 1e-9,
    "angle_rate": 1e-6,
    "inertia": 1e-12,
    "density": 1e-7,
    "viscosity": 1e-12,
    "number": 1e-6,
}


class NotFinite(ArithmeticError):
    """A result is NaN or infinite: a defect, never a reply."""


@lru_cache(maxsize=512)
def _written(dimension: str, symbol: str) -> tuple[units.Unit, int]:
    """The unit, and the decimals that its values are written with."""
    unit = units.DIMENSIONS[dimension][symbol]
    step = _RESOLUTION[dimension] / unit.factor
    return unit, max(0, math.ceil(-math.log10(step) - 1e-9))


class Column(NamedTuple):
    """One column of a table of results: its name in the reply, its dimension, SI values.

    values: (rows,), or (rows, width) where each row holds a list of `width` values.
    whole: its values are whole numbers, and written as such.
    nullable: NaN stands for null; in other columns it is a defect.
    """

    name: str
    dimension: str
    values: Array
    whole: bool = False
    nullable: bool = False

    @property
    def width(self) -> int:
        """How many values a row's list holds; 0 where it holds one value, no list."""
        return self.values.shape[1] if self.values.ndim == 2 else 0


class ReplyUnits:
    """The unit of each dimension in one reply, as the request chose them."""

    def __init__(self, chosen: Mapping[str, str]) -> None:
        self.chosen: dict[str, str] = {**units.DEFAULTS, **chosen}

    def value(self, si: Any, dimension: str) -> float:
        """One SI value in the reply's unit, rounded; raises NotFinite."""
        unit, decimals = _written(dimension, self.chosen.get(dimension, ""))
        number = (float(si) - unit.offset) / unit.factor
        if not math.isfinite(number):
            raise NotFinite(dimension)
        return round(number, decimals) + 0.0

    def text(self, si: float, dimension: str) -> str:
        """One SI value with its unit, for a sentence."""
        return f"{self.value(si, dimension):.7g} {self.chosen[dimension]}"

    def roughly(self, si: float, dimension: str) -> str:
        """The same to three digits, for what is read at a glance."""
        unit = self.chosen[dimension]
        return f"{units.from_si(si, dimension, unit):.3g} {unit}"

    def block(self, columns: Sequence[Column]) -> Array:
        """The values in the reply's units, rounded, (values of a row, rows); raises NotFinite.

        All columns are converted and rounded as one array, which costs less than
        each by itself.
        """
        flat = _flat(columns)
        dimensions = tuple([column.dimension for column in flat])
        chosen = tuple([self.chosen.get(dimension, "") for dimension in dimensions])
        factors, shifts = _scales(dimensions, chosen)
        values = np.array([column.values for column in flat], dtype=float)
        if not np.isfinite(values).all():
            _refuse_nan(flat, values)
        values /= factors
        values *= shifts
        np.rint(values, out=values)
        values /= shifts
        values += 0.0  # turns -0.0 into 0.0
        return values

    def rows(self, columns: Sequence[Column]) -> list[list[Any]]:
        """The columns as one list a row, for CSV; whole numbers come out as ints, null as None.

        A column of lists becomes one column for each value of the list.
        """
        block = self.block(columns).tolist()
        for index, column in enumerate(_flat(columns)):
            if column.nullable:
                block[index] = [None if value != value else value for value in block[index]]
            if column.whole:
                block[index] = [None if v is None else int(v) for v in block[index]]
        return [list(row) for row in zip(*block, strict=True)]

    def json_rows(self, columns: Sequence[Column]) -> orjson.Fragment:
        """The columns as a JSON array of one object a row.

        The numbers are written by one call and the members' names put between them: a
        quarter of the time of making a dictionary a row (measured, 81 rows of 20).
        """
        numbers = self.block(columns).ravel(order="F")
        if not numbers.size:
            return orjson.Fragment(b"[]")
        text = orjson.dumps(numbers, option=orjson.OPT_SERIALIZE_NUMPY)
        written = text[1:-1].split(b",")
        flat = _flat(columns)
        step = len(flat)
        for index, column in enumerate(flat):
            if column.whole:  # without .0
                written[index::step] = [item.removesuffix(b".0") for item in written[index::step]]
        before, end = _before_values(tuple([(c.name, c.width) for c in columns]))
        parts = before * (numbers.size // step)
        parts[1::2] = written
        parts[0] = b"[" + parts[0].removeprefix(end + b",")
        parts.append(end + b"]")
        return orjson.Fragment(b"".join(parts))

    def heading(self, column: Column) -> str:
        """The column's name with its unit, as in `travel (mm)`."""
        unit = self.chosen.get(column.dimension)
        return f"{column.name} ({unit})" if unit else column.name


@lru_cache(maxsize=256)
def _scales(dimensions: tuple[str, ...], symbols: tuple[str, ...]) -> tuple[Array, Array]:
    """Unit factors and powers of ten of the columns, each (columns, 1)."""
    kinds = [_written(*kind) for kind in zip(dimensions, symbols, strict=True)]
    factors = [[unit.factor] for unit, _ in kinds]
    shifts = [[10.0**decimals] for _, decimals in kinds]
    return np.array(factors), np.array(shifts)


@lru_cache(maxsize=64)
def _before_values(columns: tuple[tuple[str, int], ...]) -> tuple[list[bytes], bytes]:
    """What JSON puts before each value of a row that follows another, and after the last one.

    columns: name and width of each.  The list has an empty place for each value.
    """
    before: list[bytes] = []
    close = b""
    for name, width in columns:
        opened = b'"%s":' % name.encode()
        before.append(close + b"," + opened + (b"[" if width else b""))
        before += [b","] * (width - 1)
        close = b"]" if width else b""
    end = close + b"}"
    before[0] = end + b",{" + before[0][1:]
    return [part for text in before for part in (text, b"")], end


def _flat(columns: Sequence[Column]) -> Sequence[Column]:
    """The columns with one for each value of a list; the same where none holds lists."""
    if not any(column.values.ndim == 2 for column in columns):
        return columns
    return [
        column._replace(values=values)
        for column in columns
        for values in (column.values.T if column.width else (column.values,))
    ]


def _refuse_nan(columns: Sequence[Column], values: Array) -> None:
    bad = [
        column.name
        for column, row in zip(columns, values, strict=True)
        if not (np.isfinite(row) | (np.isnan(row) & column.nullable)).all()
    ]
    if bad:
        raise NotFinite(", ".join(bad))


def significant(value: float, digits: int = 7) -> float:
    """A number without a unit's resolution, to significant digits."""
    if not math.isfinite(value):
        raise NotFinite("a number")
    return float(f"{value:.{digits}g}") + 0.0


def solution(
    chosen: ReplyUnits,
    airspeeds: tuple[float, float],
    *,
    angle: float | None = None,
    position: float | None = None,
) -> dict[str, float]:
    """How well the flights were solved, and how fast they were, m/s.

    angle: estimated error of any launch angle, rad.  position: of any position, m.
    """
    own: dict[str, float] = {}
    for name, kind, error in (
        ("error_estimate", "angle", angle),
        ("position_error", "length", position),
    ):
        if error is not None:
            own[name] = significant(units.from_si(float(error), kind, chosen.chosen[kind]), 3)
    least, greatest = airspeeds
    own["least_airspeed"] = chosen.value(least, "speed")
    own["greatest_airspeed"] = chosen.value(greatest, "speed")
    return own


@lru_cache(maxsize=256)
def sources_reply(sources: tuple[Source, ...]) -> list[dict[str, str]]:
    """A model's sources as a reply lists them; kept, as every reply repeats them."""
    return [
        {
            name: value
            for name, value in (
                ("title", source.title),
                ("standing", source.standing),
                ("doi", source.doi),
                ("url", source.url),
            )
            if value is not None
        }
        for source in sources
    ]


def json_reply(body: Mapping[str, Any] | Sequence[Any], forms: int = 1) -> Response:
    """The body as JSON; `forms`: how many forms the resource has."""
    return _vary(Response(orjson.dumps(body), content_type=JSON), forms)


def csv_reply(headings: Sequence[str], rows: Sequence[Sequence[Any]]) -> Response:
    """The rows as CSV after RFC 4180, with a header line."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows(rows)
    response = Response(text.getvalue(), content_type=f"{CSV}; charset=utf-8; header=present")
    return _vary(response, 2)


def _vary(response: Response, forms: int) -> Response:
    if forms > 1:
        response.headers["Vary"] = "Accept"
    return response


def negotiate(request: Request, *forms: str) -> str:
    """The form that the caller accepts most; the first where nothing is said.

    Raises NotAcceptable (406).
    """
    accept = request.headers.get("Accept", "").strip()
    if accept in ("", "*/*", forms[0]):
        return forms[0]
    best = request.accept_mimetypes.best_match(forms)
    if best is None:
        raise NotAcceptable(f"This resource comes as {' or '.join(forms)}: accept one of them.")
    return best
