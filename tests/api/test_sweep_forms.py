"""Forms of POST /v1/sweep: the same numbers as JSON, CSV, Arrow and Parquet."""

import csv
import importlib.util
import io
import json
from typing import Any

import jsonschema
import pytest
import swept as requests
from flask.testing import FlaskClient
from swept import gridded, sampled, values

from arrowloft import study
from arrowloft.api import openapi
from arrowloft.api.canonical import digest
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sweeping import forms, sweep
from arrowloft.plugin.registry import Registry

pyarrow = pytest.importorskip("pyarrow")
parquet = pytest.importorskip("pyarrow.parquet")

ARROW = "application/vnd.apache.arrow.stream"
PARQUET = "application/vnd.apache.parquet"
Body = dict[str, Any]
WITH_GAPS = gridded(
    values("/launch/parameters/speed", "20 m/s", "56.123456789 m/s"),
    values("/arrow/mass", "18 g", "300 gr", "0.0421 lb"),
    units={"distance": "yd", "length": "mm", "angle": "mrad", "speed": "ft/s", "mass": "gr"},
)


@pytest.fixture
def client() -> FlaskClient:
    return requests.client()


def asked_as(client: FlaskClient, form: str, asked: Body) -> Any:
    reply = client.post("/v1/sweep", json=asked, headers={"Accept": form})
    assert reply.status_code == 200, reply.get_data(as_text=True)
    assert reply.mimetype == form and reply.headers["Vary"] == "Accept"
    return reply


def read(form: str, content: bytes) -> Any:
    if form == PARQUET:
        return parquet.read_table(io.BytesIO(content))
    return pyarrow.ipc.open_stream(content).read_all()


@pytest.mark.parametrize("form", [ARROW, PARQUET])
@pytest.mark.parametrize("asked", [WITH_GAPS, sampled(rows=True), sampled()])
def test_arrow_and_parquet_hold_what_json_holds(
    client: FlaskClient, form: str, asked: Body
) -> None:
    said = asked_as(client, "application/json", asked).get_json()
    expected = said.pop("columns", None) or said["summary"]
    said.pop("summary", None)
    table = read(form, asked_as(client, form, asked).data)
    assert table.to_pydict() == expected
    metadata = {name.decode(): value for name, value in table.schema.metadata.items()}
    told = {name: json.loads(value) for name, value in metadata.items()}
    # JSON repeats the request where `echo` is asked for.
    assert told == said | {"request": asked, "request_digest": digest(asked)}


def test_fields_say_their_unit(client: FlaskClient) -> None:
    schema = read(ARROW, asked_as(client, ARROW, WITH_GAPS).data).schema
    told = {field.name: field.metadata[b"unit"].decode() for field in schema}
    assert told == {
        "/launch/parameters/speed": "ft/s",
        "/arrow/mass": "gr",
        "distance": "yd",
        "launch_angle": "mrad",
        "travel": "mm",
        "speed": "ft/s",
    }
    assert schema.field("distance").metadata[b"dimension"] == b"distance"


@pytest.mark.parametrize("form", ["application/json", "text/csv", ARROW, PARQUET])
def test_the_same_request_gives_the_same_bytes(client: FlaskClient, form: str) -> None:
    first = asked_as(client, form, sampled(rows=True)).data
    assert asked_as(client, form, sampled(rows=True)).data == first


@pytest.mark.parametrize("asked", [WITH_GAPS, sampled(rows=True), sampled()])
def test_csv_holds_what_json_holds(client: FlaskClient, asked: Body) -> None:
    said = asked_as(client, "application/json", asked).get_json()
    expected = said.get("columns") or said["summary"]
    text = asked_as(client, "text/csv", asked).text
    heading, *lines = csv.reader(io.StringIO(text, newline=""))
    assert [name.split(" (")[0] for name in heading] == list(expected)
    for name, column in zip(expected, zip(*lines, strict=True), strict=True):
        assert [float(cell) if cell else None for cell in column] == expected[name]
    if asked is WITH_GAPS:
        assert heading[:2] == ["/launch/parameters/speed (ft/s)", "/arrow/mass (gr)"]


def test_values_come_back_as_they_were_written(client: FlaskClient) -> None:
    """Conversions there and back do not show in twelve digits."""
    given = [181.3, 300.1, 333.33, 421.0]
    asked = gridded(values("/arrow/mass", *[f"{mass} gr" for mass in given]), distances=["50 m"])
    asked["units"] = {"mass": "gr"}
    found = asked_as(client, "application/json", asked).get_json()
    assert found["columns"]["/arrow/mass"] == given


@pytest.mark.parametrize("form", [ARROW, PARQUET])
def test_without_pyarrow_two_forms_are_refused_by_the_extra_s_name(
    client: FlaskClient, form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = importlib.util.find_spec
    monkeypatch.setattr(forms, "find_spec", lambda name: None if name == "pyarrow" else whole(name))
    reply = client.post("/v1/sweep", json=sampled(), headers={"Accept": form})
    assert reply.status_code == 406
    assert "arrowloft[arrow]" in reply.get_json()["detail"]
    assert client.post("/v1/sweep", json=sampled()).status_code == 200
    for other in ("application/json", "text/csv"):
        either = {"Accept": f"{form}, {other};q=0.4"}
        reply = client.post("/v1/sweep", json=sampled(), headers=either)
        assert reply.status_code == 200 and reply.mimetype == other
    reply = client.post("/v1/sweep", json=sampled(), headers={"Accept": "image/png"})
    assert reply.status_code == 406 and "arrowloft[arrow]" not in reply.get_json()["detail"]


def test_pyarrow_is_not_imported_before_it_is_needed() -> None:
    import subprocess
    import sys

    code = (
        "import sys, arrowloft.study, arrowloft.app; arrowloft.app.create_app;"
        "sys.exit(any(n in sys.modules for n in ('pyarrow', 'dask', 'distributed')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.fixture(scope="module")
def document() -> Any:
    edge = Edge.of(Registry.discover(), Limits())
    return openapi.document([sweep.resource(edge)], edge.limits, {})


@pytest.mark.parametrize("asked", [WITH_GAPS, sampled(rows=True), sampled()])
def test_request_and_reply_hold_against_the_document(
    client: FlaskClient, document: Any, asked: Body
) -> None:
    operation = document["paths"]["/v1/sweep"]["post"]
    reply = asked_as(client, "application/json", asked).get_json()
    taken = operation["requestBody"]["content"]["application/json"]["schema"]
    given = operation["responses"]["200"]["content"]["application/json"]["schema"]
    for schema, instance in ((taken, asked), (given, reply)):
        whole = {"$schema": "https://json-schema.org/draft/2020-12/schema", **document, **schema}
        jsonschema.Draft202012Validator(whole).validate(instance)


def test_binary_forms_are_no_texts_in_the_document(document: Any) -> None:
    content = document["paths"]["/v1/sweep"]["post"]["responses"]["200"]["content"]
    assert content[PARQUET]["schema"] == {"contentMediaType": PARQUET}
    assert content["text/csv"]["schema"] == {"type": "string"}
    assert "100000 points" in document["info"]["description"].replace("\n", " ")


def test_a_study_as_an_arrow_table_is_in_si() -> None:
    found = study.sweep(WITH_GAPS)
    table = found.to_arrow()
    assert table.column_names == list(found.columns)
    told = {field.name: field.metadata[b"unit"].decode() for field in table.schema}
    assert told == found.symbols
    assert told["/arrow/mass"] == "kg" and told["speed"] == "m/s" and told["travel"] == "m"
    speed = table["speed"].to_pylist()
    assert speed[:6] == [None] * 6 and speed[6:] == found.columns["speed"][6:].tolist()
    assert json.loads(table.schema.metadata[b"request"]) == WITH_GAPS
    quantiles = study.sweep(sampled()).to_arrow(quantiles=True)
    assert quantiles.num_rows == 6 and "travel.quantile_0.95" in quantiles.column_names
