"""Ids in and out: whatever is sent, there are valid ones, and nothing else is written down."""

import re

import pytest
from flask.testing import FlaskClient
from hypothesis import example, given
from hypothesis import strategies as st

from arrowloft.app import create_app
from arrowloft.operation.trace_context import ids_of

TRACE, SPAN = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"
PARENT = f"00-{TRACE}-{SPAN}-01"
RESPONSE = re.compile(r"00-(?!0{32})[0-9a-f]{32}-(?!0{16})[0-9a-f]{16}-0[01]")

INVALID_PARENTS = (
    "",
    "00",
    f"00-{TRACE.upper()}-{SPAN}-01",
    f"00-{'0' * 32}-{SPAN}-01",
    f"00-{TRACE}-{'0' * 16}-01",
    f"ff-{TRACE}-{SPAN}-01",
    f"00-{TRACE}-{SPAN}-01-more",
    f"00-{TRACE}-{SPAN}",
    f"{PARENT},{PARENT}",
    "x" * 4000,
)

INVALID_IDS = ("", "a b", "a/b", "a\nb", 'a"b', "é", "x" * 129, "{{7*7}}", "١")


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@given(asked=st.text(), parent=st.text())
@example(asked="a", parent=PARENT + "\n")
def test_any_text_makes_valid_ids(asked: str, parent: str) -> None:
    ids = ids_of(asked, parent)
    assert re.fullmatch(r"[A-Za-z0-9._-]{1,128}", ids.request_id)
    assert RESPONSE.fullmatch(ids.response)
    assert re.fullmatch(r"([0-9a-f]{16})?", ids.parent_id)


@pytest.mark.parametrize("parent", INVALID_PARENTS)
def test_an_invalid_parent_counts_as_none(client: FlaskClient, parent: str) -> None:
    reply = client.get("/healthz", headers={"traceparent": parent})
    assert reply.status_code == 200
    assert RESPONSE.fullmatch(reply.headers["traceresponse"])
    assert TRACE not in reply.headers["traceresponse"]
    assert ids_of("", parent).parent_id == ""


@pytest.mark.parametrize(("flags", "given_back"), [("00", "00"), ("01", "01"), ("ff", "01")])
def test_a_trace_goes_on_with_a_span_of_our_own(
    client: FlaskClient, flags: str, given_back: str
) -> None:
    parent = f"00-{TRACE}-{SPAN}-{flags}"
    told = client.get("/healthz", headers={"traceparent": parent}).headers["traceresponse"]
    version, trace, span, said = told.split("-")
    assert (version, trace, said) == ("00", TRACE, given_back)
    assert span != SPAN


def test_a_later_version_is_read_as_far_as_it_is_known() -> None:
    ids = ids_of("", f"cc-{TRACE}-{SPAN}-01-what-else")
    assert (ids.trace_id, ids.parent_id) == (TRACE, SPAN)


def test_every_request_has_other_ids() -> None:
    drawn = [ids_of() for _ in range(100)]
    for name in ("request_id", "trace_id", "span_id"):
        assert len({getattr(ids, name) for ids in drawn}) == 100


@pytest.mark.parametrize("asked", ["a", "A-1_2.3", "x" * 128])
def test_a_valid_id_comes_back(client: FlaskClient, asked: str) -> None:
    reply = client.get("/healthz", headers={"X-Request-Id": asked})
    assert reply.headers.getlist("X-Request-Id") == [asked]


@pytest.mark.parametrize("asked", INVALID_IDS)
def test_an_invalid_id_is_replaced(asked: str) -> None:
    assert re.fullmatch(r"[0-9a-f]{32}", ids_of(asked).request_id)


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [("GET", "/nowhere", 404), ("PUT", "/healthz", 405), ("POST", "/v1/mark-table", 415)],
)
def test_problems_have_them_too(client: FlaskClient, method: str, path: str, status: int) -> None:
    reply = client.open(path, method=method, headers={"X-Request-Id": "me", "traceparent": PARENT})
    assert reply.status_code == status
    assert reply.headers["X-Request-Id"] == "me"
    assert reply.headers["traceresponse"].startswith(f"00-{TRACE}-")


def test_the_body_has_none(client: FlaskClient) -> None:
    """The same request, the same bytes."""
    assert client.get("/nowhere").data == client.get("/nowhere").data
