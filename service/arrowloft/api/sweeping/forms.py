"""A sweep as columns in the caller's units: JSON, CSV, Arrow and Parquet, all of the same numbers.

Arrow and Parquet are written by pyarrow, which comes with the extra `arrowloft[arrow]`.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from typing import Any

import numpy as np
import orjson
from flask import Request
from werkzeug.exceptions import NotAcceptable

from arrowloft import units
from arrowloft.api.replies import CSV, JSON, Column, NotFinite, ReplyUnits, negotiate
from arrowloft.api.sweeping.table import Series
from arrowloft.core.arrays import Array

ARROW = "application/vnd.apache.arrow.stream"
PARQUET = "application/vnd.apache.parquet"

_GIVEN_DIGITS = 12
"""Significant digits of what the request gave or had drawn: more than any reply is rounded to."""


def accepted(request: Request) -> str:
    """The form that the caller accepts most, of those that can be written here.

    Raises NotAcceptable (406), which names the extra where nothing but that is in the way.
    """
    if find_spec("pyarrow") is not None:
        return negotiate(request, JSON, CSV, ARROW, PARQUET)
    try:
        return negotiate(request, JSON, CSV)
    except NotAcceptable:
        negotiate(request, JSON, CSV, ARROW, PARQUET)
        raise NotAcceptable(
            "Arrow and Parquet need pyarrow, which this service has not installed: accept "
            "application/json or text/csv, or install arrowloft[arrow] where the service runs."
        ) from None


def converted(chosen: ReplyUnits, series: Sequence[Series]) -> list[Array]:
    """The columns in the reply's units, rounded as everywhere; NaN stay."""
    computed = [one for one in series if not one.given]
    block = chosen.block([Column(s.name, s.dimension, s.values, nullable=True) for s in computed])
    rounded = iter(block)
    return [_given(chosen, one) if one.given else next(rounded) for one in series]


def _given(chosen: ReplyUnits, series: Series) -> Array:
    """What was given, in the reply's unit, to so many digits that conversions do not show."""
    if series.dimension == "number":
        return _significant(series.values)
    unit = chosen.chosen[series.dimension]
    return _significant(np.asarray(units.from_si(series.values, series.dimension, unit)))


def _significant(values: Array) -> Array:
    size = np.abs(values)
    power = np.floor(np.log10(np.where(size > 0.0, size, 1.0)))
    # Powers of ten up to 22 are exact; dividing by them, not multiplying, rounds best.
    scale = 10.0 ** (_GIVEN_DIGITS - 1 - power)
    result: Array = np.rint(values * scale) / scale + 0.0
    return result


def json_columns(chosen: ReplyUnits, series: Sequence[Series]) -> orjson.Fragment:
    """The columns as a JSON object of lists; NaN as null, whole numbers without a point."""
    members = [
        orjson.dumps(one.name) + b":" + _listed(one, values)
        for one, values in zip(series, converted(chosen, series), strict=True)
    ]
    return orjson.Fragment(b"{" + b",".join(members) + b"}")


def _listed(series: Series, values: Array) -> bytes:
    if np.isinf(values).any():
        raise NotFinite(series.name)
    if series.whole:
        values = values.astype(np.int64)
    return orjson.dumps(np.ascontiguousarray(values), option=orjson.OPT_SERIALIZE_NUMPY)


def csv_text(chosen: ReplyUnits, series: Sequence[Series]) -> str:
    """The columns as CSV after RFC 4180, each heading with its unit; empty for null."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([heading(chosen, one) for one in series])
    values = converted(chosen, series)
    if any(one.whole for one in series):
        lists = [
            [None if v != v else int(v) if one.whole else v for v in column.tolist()]
            for one, column in zip(series, values, strict=True)
        ]
        writer.writerows(zip(*lists, strict=True))
        return text.getvalue()
    return text.getvalue() + _lines(values)


def _lines(values: Sequence[Array]) -> str:
    """Lines of numbers, as many as a column has: written as JSON, in a fifth of the time."""
    table = np.column_stack(values)
    if not table.size:
        return ""
    listed = orjson.dumps(table, option=orjson.OPT_SERIALIZE_NUMPY)
    lines = listed[2:-2].replace(b"null", b"").replace(b"],[", b"\r\n")
    return lines.decode() + "\r\n"


def heading(chosen: ReplyUnits, series: Series) -> str:
    """The column's name with its unit, as in `travel (mm)`."""
    unit = unit_of(chosen, series)
    return f"{series.name} ({unit})" if unit else series.name


def unit_of(chosen: ReplyUnits, series: Series) -> str:
    """The column's unit, empty for a plain number."""
    return chosen.chosen.get(series.dimension, "")


def arrow_table(
    series: Sequence[Series],
    values: Sequence[Array],
    symbols: Sequence[str],
    said: Mapping[str, Any],
) -> Any:
    """A pyarrow.Table; each field's metadata say its unit and dimension.

    said: what the table as a whole says of itself, as JSON, in its schema's metadata.
    """
    import pyarrow

    fields, arrays = [], []
    for one, column, symbol in zip(series, values, symbols, strict=True):
        kind = pyarrow.int64() if one.whole else pyarrow.float64()
        data = column.astype(np.int64) if one.whole else column
        arrays.append(pyarrow.array(data, type=kind, from_pandas=True))  # NaN become null
        about = {"unit": symbol, "dimension": one.dimension}
        fields.append(pyarrow.field(one.name, kind, metadata=about))
    metadata = {name: orjson.dumps(value) for name, value in said.items()}
    return pyarrow.Table.from_arrays(arrays, schema=pyarrow.schema(fields, metadata=metadata))


def binary(table: Any, form: str) -> bytes:
    """A pyarrow.Table as an Arrow IPC stream or as Parquet."""
    import pyarrow

    sink = pyarrow.BufferOutputStream()
    if form == ARROW:
        with pyarrow.ipc.new_stream(sink, table.schema) as writer:
            writer.write_table(table)
    else:
        import pyarrow.parquet

        pyarrow.parquet.write_table(table, sink)
    content: bytes = sink.getvalue().to_pybytes()
    return content
