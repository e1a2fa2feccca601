"""The fields: strict reading, and a document that takes what they take."""

import json
import math
import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from arrowloft import units
from arrowloft.api.distances import Distances
from arrowloft.api.fields import Choice, Items, Number, Part, Quantity, WholeNumber
from arrowloft.api.reading import MalformedJson, parse_object
from arrowloft.api.replies import Column, NotFinite, ReplyUnits
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.schemas import Strict, strict
from arrowloft.api.sight import mark_table
from arrowloft.api.wording import nearest, sentence, shown, unit_of
from arrowloft.plugin.registry import Registry

JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


def stocked() -> Any:
    return mark_table.resource(Edge.of(Registry.discover(), Limits())).request


def set_by(schema: Strict, value: Any) -> Any:
    """What marshmallow's own loading makes of a value: the members, or the messages."""
    try:
        return schema.load(value)
    except ValidationError as error:
        return ("refused", error.messages)


def read_by(schema: Strict, value: Any) -> Any:
    try:
        return schema.read(value)
    except ValidationError as error:
        return ("refused", error.messages)


SCHEMA = strict(
    "Sample",
    {
        "mass": Quantity("mass", "A mass.", example="2 g", low=0.001, high=0.01, required=True),
        "share": Number("A share.", above=0, below=1),
        "count": WholeNumber("A count.", low=1),
        "way": Choice(("up", "down"), "A way."),
        "list": Items(Number("One."), "Some.", most=3),
        "part": Part(strict("Inner", {"from": Number("From.", required=True)})(), "A part."),
    },
)()

VALUES = st.sampled_from(
    [
        *("2 g", "5 g", "20 g", "2", 2, 2.0, 0.5, True, None, "up"),
        *([], [1], [1, "x"], [1] * 4),
        *({"from": 1}, {"from": "x"}, {}, {"to": 1}),
    ]
)


@given(
    st.dictionaries(
        st.sampled_from(["mass", "share", "count", "way", "list", "part", "mas"]), VALUES
    )
    | VALUES
)
def test_reading_gives_what_loading_gives(value: Any) -> None:
    assert read_by(SCHEMA, value) == set_by(SCHEMA, value)


def test_reading_a_whole_request_gives_what_loading_gives(body: dict[str, Any]) -> None:
    schema = stocked()
    assert schema.read(body) == schema.load(body)
    assert schema.read(body)["arrow"]["mass"] == pytest.approx(388 * 64.79891e-6, rel=1e-15)


@given(st.dictionaries(st.text(), JSON_VALUES, max_size=4))
def test_strict_json_reads_what_json_writes(value: dict[str, Any]) -> None:
    for raw in (json.dumps(value), json.dumps(value, ensure_ascii=False)):
        try:
            assert parse_object(raw.encode("utf-8", "surrogatepass")) == value
        except MalformedJson as error:
            assert "surrogate" in error.detail or "UTF-8" in error.detail


@given(st.binary(max_size=60))
def test_no_bytes_break_the_reader(raw: bytes) -> None:
    try:
        assert isinstance(parse_object(raw), dict)
    except MalformedJson as error:
        assert error.detail.endswith(".")


@given(st.text(alphabet='[]{}",:\\1a ', max_size=60))
def test_the_reader_agrees_with_the_standard_one(text: str) -> None:
    try:
        expected = json.loads(text)
    except ValueError:
        expected = None
    try:
        found = parse_object(text.encode())
    except MalformedJson as error:
        twice = "twice" in error.detail
        assert not isinstance(expected, dict) or twice
    else:
        assert found == expected


def test_depth_is_counted_outside_strings_only() -> None:
    deep = "[" * 31 + "]" * 31
    assert parse_object(f'{{"a": {deep}}}'.encode())
    with pytest.raises(MalformedJson, match="deeper"):
        parse_object(f'{{"a": [{deep}]}}'.encode())
    text = '{"a": "' + "[" * 100 + '\\"{"}'
    assert parse_object(text.encode())
    flat = '{"a": [' + "[],{}," * 100 + "1]}"
    assert parse_object(flat.encode())


@pytest.mark.parametrize("dimension", sorted(set(units.DIMENSIONS) - {"number"}))
@given(data=st.data())
def test_a_quantity_s_pattern_is_what_it_reads(dimension: str, data: st.DataObject) -> None:
    field = Quantity(dimension, example="1 " + units.DEFAULTS[dimension])
    pattern = field.json_schema(None)["pattern"]  # type: ignore[arg-type]
    text = data.draw(st.from_regex(pattern, fullmatch=True).map(lambda t: t.rstrip("\n")))
    if len(text) <= units.LONGEST:
        assert math.isfinite(field.read(text))
        assert text.endswith(unit_of(text, dimension))


@given(st.text(max_size=12))
def test_what_the_pattern_refuses_is_refused(text: str) -> None:
    field = Quantity("length", example="1 m")
    matches = re.fullmatch(field.json_schema(None)["pattern"], text)  # type: ignore[arg-type]
    try:
        field.read(text)
    except ValidationError:
        assert not matches
    else:
        assert matches


def test_bounds_are_told_in_the_unit_used() -> None:
    field = Quantity("length", example="1 m", low=0.0254, below=0.3048)
    with pytest.raises(ValidationError, match="at least 1 in"):
        field.read("0.5 in")
    with pytest.raises(ValidationError, match=r"at least 25\.4 mm"):
        field.read("2 mm")
    with pytest.raises(ValidationError, match="less than 1 ft"):
        field.read("1 ft")
    assert field.read("1 in") == pytest.approx(0.0254, rel=1e-15)


@pytest.mark.parametrize("value", [12, 12.0, 1.2e1])
def test_whole_numbers_are_whole_however_written(value: float) -> None:
    found = WholeNumber().read(value)
    assert found == 12
    assert type(found) is int


@pytest.mark.parametrize("value", [True, "12", 12.5, float("inf"), 10**400, [12], None])
def test_nothing_else_is_a_whole_number(value: Any) -> None:
    with pytest.raises(ValidationError):
        WholeNumber().read_item(value)


def test_ranges_end_where_a_step_leads() -> None:
    field = Distances(1000)
    assert field.read({"from": "10 yd", "to": "11 yd", "step": "0.1 yd"})[-1] == pytest.approx(
        11 * 0.9144
    )
    assert len(field.read({"from": "20 yd", "to": "100 yd", "step": "1 yd"})) == 81
    assert len(field.read({"from": "20 yd", "to": "100.5 yd", "step": "1 yd"})) == 81
    assert len(field.read({"from": "20 yd", "to": "20 yd", "step": "1 yd"})) == 1


def test_words() -> None:
    assert nearest("peep", ["peep_height", "mass"]) == 'did you mean "peep_height"?'
    assert nearest("q", ["b", "a"]) == "known here: b, a."
    assert sentence("no unit") == "No unit."
    assert len(shown("x" * 1000)) < 80
    assert shown("\ud800") == '"\\ud800"'
    assert unit_of("5mm", "length") == "mm"


def test_blocks_round_as_single_values_do() -> None:
    chosen = ReplyUnits({"length": "in", "angle": "mrad"})
    values = np.array([1.23456789e-3, -7.7e-9, 2.5, 0.0])
    columns = [Column("a", "length", values), Column("b", "angle", values)]
    for column, row in zip(columns, chosen.block(columns), strict=True):
        for found, si in zip(row, values, strict=True):
            assert found == pytest.approx(chosen.value(float(si), column.dimension), abs=1e-12)
            assert math.copysign(1, found) == 1 or found < 0, "no negative zero"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_never_sent(bad: float) -> None:
    chosen = ReplyUnits({})
    with pytest.raises(NotFinite, match="travel"):
        chosen.block([Column("travel", "length", np.array([1.0, bad]))])
    with pytest.raises(NotFinite):
        chosen.value(bad, "length")
