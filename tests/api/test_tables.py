"""Tables of replies: bytes that parse to what the columns say, lists, nulls and whole numbers."""

import csv
import io
import json
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import orjson
import pytest
from flask import Flask
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from arrowloft.api import openapi
from arrowloft.api.replies import Column, NotFinite, ReplyUnits
from arrowloft.api.resource import Edge, Limits, Resource
from arrowloft.api.tables import Head, columns, csv_reply, row_schema
from arrowloft.plugin.registry import Registry

METRIC = ReplyUnits({"distance": "m", "length": "mm", "speed": "m/s"})

HEADS = (
    Head("distance", "distance", "A distance."),
    Head("count", "number", "A count.", whole=True),
    Head("shifts", "length", "A shift for each of three rolls.", listed=True),
    Head("clicks", "number", "Whole, a list.", whole=True, listed=True),
    Head("most", "length", "A bound, if any.", nullable=True),
    Head("marks", "number", "Whole or null, a list.", whole=True, nullable=True, listed=True),
    Head("turns", "number", "Only with a screw.", optional=True),
)


def result(rows: int = 3, **changes: Any) -> SimpleNamespace:
    """What a core function might return: columns of every kind."""
    count = np.arange(rows, dtype=float)
    values = {
        "distance": 10.0 + count,
        "count": count - 1.0,
        "shifts": 1e-3 * (count[:, None] + np.array([-0.5, 0.25, 7.0])),
        "clicks": count[:, None] * np.array([1.0, -2.0]),
        "most": np.where(count == 1, np.nan, 0.05),
        "marks": np.where(count[:, None] == 0, np.nan, count[:, None] + np.zeros(2)),
        "turns": None,
        **changes,
    }
    return SimpleNamespace(**values)


def json_of(found: list[Column], chosen: ReplyUnits = METRIC) -> Any:
    return json.loads(orjson.dumps(chosen.json_rows(found)))


def csv_of(found: list[Column], chosen: ReplyUnits = METRIC) -> list[list[str]]:
    with Flask("tables").test_request_context():
        text = csv_reply(chosen, found).get_data(as_text=True)
    return list(csv.reader(io.StringIO(text, newline="")))


def test_rows_hold_numbers_lists_and_nulls() -> None:
    assert json_of(columns(result(), HEADS)) == [
        {
            "distance": 10.0,
            "count": -1,
            "shifts": [-0.5, 0.25, 7.0],
            "clicks": [0, 0],
            "most": 50.0,
            "marks": [None, None],
        },
        {
            "distance": 11.0,
            "count": 0,
            "shifts": [0.5, 1.25, 8.0],
            "clicks": [1, -2],
            "most": None,
            "marks": [1, 1],
        },
        {
            "distance": 12.0,
            "count": 1,
            "shifts": [1.5, 2.25, 9.0],
            "clicks": [2, -4],
            "most": 50.0,
            "marks": [2, 2],
        },
    ]


def test_whole_numbers_are_written_without_a_point_and_others_with_one() -> None:
    text = orjson.dumps(METRIC.json_rows(columns(result(), HEADS)))
    assert b'"count":-1,' in text and b'"clicks":[1,-2],' in text and b'"marks":[2,2]' in text
    assert b'"distance":10.0,' in text and b"-0.0" not in text
    big = Column("count", "number", np.array([1e6, 123456789.0]), whole=True)
    assert json_of([big]) == [{"count": 1000000}, {"count": 123456789}]
    assert all(type(row["count"]) is int for row in json_of([big]))


def test_csv_flattens_lists_and_leaves_nulls_empty() -> None:
    assert csv_of(columns(result(), HEADS))[1:] == [
        ["10.0", "-1", "-0.5", "0.25", "7.0", "0", "0", "50.0", "", ""],
        ["11.0", "0", "0.5", "1.25", "8.0", "1", "-2", "", "1", "1"],
        ["12.0", "1", "1.5", "2.25", "9.0", "2", "-4", "50.0", "2", "2"],
    ]


def test_a_csv_of_single_values_has_a_heading_for_each() -> None:
    found = [column for column in columns(result(), HEADS) if not column.width]
    assert csv_of(found)[0] == ["distance (m)", "count", "most (mm)"]
    assert csv_of(found)[1] == ["10.0", "-1", "50.0"]


@pytest.mark.parametrize("which", range(1, 2 ** (len(HEADS) - 1)))
def test_any_columns_side_by_side(which: int) -> None:
    """Lists first, last, next to each other or alone: every subset of the columns."""
    heads = [head for bit, head in enumerate(HEADS[:-1]) if which >> bit & 1]
    whole = json_of(columns(result(), HEADS))
    found = columns(result(), heads)
    assert json_of(found) == [{head.name: row[head.name] for head in heads} for row in whole]
    flat = [
        [x for v in row.values() for x in (v if isinstance(v, list) else [v])]
        for row in json_of(found)
    ]
    assert METRIC.rows(found) == flat


def test_lists_of_one_value_are_lists() -> None:
    found = columns(result(shifts=np.array([[1e-3], [2e-3], [3e-3]])), HEADS[2:3])
    assert json_of(found) == [{"shifts": [1.0]}, {"shifts": [2.0]}, {"shifts": [3.0]}]


@pytest.mark.parametrize("heads", [HEADS, HEADS[:1], HEADS[2:3]])
def test_no_rows(heads: tuple[Head, ...]) -> None:
    found = columns(result(0), heads)
    assert json_of(found) == []
    assert len(csv_of([column for column in found if not column.width])) == 1
    assert METRIC.rows(found) == []


def test_one_row() -> None:
    assert json_of(columns(result(1), HEADS)) == json_of(columns(result(), HEADS))[:1]


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("name", ["distance", "count", "shifts", "clicks"])
def test_what_is_not_finite_is_a_defect(name: str, bad: float) -> None:
    values = np.array(getattr(result(), name))
    values[-1] = bad
    for write in (METRIC.json_rows, METRIC.rows):
        with pytest.raises(NotFinite) as caught:
            write(columns(result(**{name: values}), HEADS))
        assert set(str(caught.value).split(", ")) == {name}


@pytest.mark.parametrize("bad", [np.inf, -np.inf])
@pytest.mark.parametrize("name", ["most", "marks"])
def test_null_stands_for_nan_alone(name: str, bad: float) -> None:
    values = np.array(getattr(result(), name))
    values[0] = bad
    with pytest.raises(NotFinite):
        METRIC.json_rows(columns(result(**{name: values}), HEADS))


def test_optional_columns_are_left_out_where_there_is_none() -> None:
    assert "turns" not in json_of(columns(result(), HEADS))[0]
    with_turns = json_of(columns(result(turns=np.array([0.5, 1.0, -1.5])), HEADS))
    assert [row["turns"] for row in with_turns] == [0.5, 1.0, -1.5]


finite = st.floats(-1e4, 1e4, allow_nan=False)


@settings(max_examples=60, deadline=None)
@given(
    rows=st.integers(1, 6),
    width=st.integers(1, 5),
    length=st.sampled_from(["mm", "in", "m"]),
    data=st.data(),
)
def test_numbers_are_the_columns_in_the_units_chosen(
    rows: int, width: int, length: str, data: st.DataObject
) -> None:
    def some(*shape: int, values: Any = finite) -> Any:
        count = math.prod(shape)
        drawn = data.draw(st.lists(values, min_size=count, max_size=count))
        return np.array(drawn, dtype=float).reshape(shape)

    chosen = ReplyUnits({"length": length, "distance": "yd"})
    factor = {"mm": 1e-3, "in": 0.0254, "m": 1.0}[length]
    far, lists = some(rows), some(rows, width)
    perhaps = some(rows, width, values=st.one_of(finite, st.just(math.nan)))
    found = json_of(
        [
            Column("lists", "length", lists),
            Column("far", "distance", far),
            Column("perhaps", "length", perhaps, nullable=True),
        ],
        chosen,
    )
    assert len(found) == rows
    for row, written in enumerate(found):
        assert list(written) == ["lists", "far", "perhaps"]
        # To a resolution of a micrometre, in any unit.
        assert np.array(written["lists"]) * factor == pytest.approx(lists[row], abs=1.1e-6)
        assert written["far"] * 0.9144 == pytest.approx(far[row], abs=1.1e-6)
        numbers = np.array([math.nan if v is None else v for v in written["perhaps"]])
        assert numbers * factor == pytest.approx(perhaps[row], abs=1.1e-6, nan_ok=True)


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    """The document's schema of a row of HEADS."""
    edge = Edge.of(Registry.discover(), Limits())
    resource = Resource(
        path="/rows",
        name="rows",
        summary="Rows",
        description="Rows.",
        view=lambda: None,  # type: ignore[arg-type, return-value]
        reply=row_schema("SomeRow", HEADS),
    )
    schemas = openapi.document([resource], edge.limits, {})["components"]["schemas"]
    return Draft202012Validator(
        {"$ref": "#/components/schemas/SomeRow", "components": {"schemas": schemas}}
    )


def test_rows_are_as_documented(validator: Draft202012Validator) -> None:
    for turns in (None, np.array([0.5, 1.0, -1.5])):
        for row in json_of(columns(result(turns=turns), HEADS)):
            validator.validate(row)


@pytest.mark.parametrize(
    "changes",
    [
        {"distance": None},
        {"shifts": 1.0},
        {"shifts": [None]},
        {"most": [1.0]},
        {"count": 1.5},
        {"clicks": [1.5]},
        {"marks": ["1"]},
        {"other": 1.0},
    ],
    ids=str,
)
def test_the_document_refuses_other_rows(
    validator: Draft202012Validator, changes: dict[str, Any]
) -> None:
    row = json_of(columns(result(), HEADS))[1]
    with pytest.raises(ValidationError):
        validator.validate(row | changes)
    del row["distance"]
    with pytest.raises(ValidationError):
        validator.validate(row)
