"""Entity tags, what may be kept for how long, and how a caller asks again for what it has."""

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from flask import Flask, Response
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from arrowloft.app import create_app
from arrowloft.operation.caching import install, tag_of
from arrowloft.operation.keys import fresh
from arrowloft.operation.settings import Settings

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
COMPUTATION = "/v1/mark-table"
FOUND = (
    "/",
    "/openapi.json",
    "/v1/models",
    "/v1/models/drag/constant",
    "/v1/units",
    "/problems/not-ready",
)
FORMS = ("application/json", "text/csv", "image/svg+xml", "application/pdf")


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture(scope="module")
def asked() -> bytes:
    return (EXAMPLES / "mark-table.request.json").read_bytes()


def compute(
    client: FlaskClient, asked: bytes, method: str = "QUERY", **headers: str
) -> TestResponse:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.open(
        COMPUTATION, method=method, data=asked, content_type="application/json", headers=named
    )


@pytest.mark.parametrize("form", FORMS)
def test_a_computation_has_a_strong_tag_and_a_time(
    client: FlaskClient, asked: bytes, form: str
) -> None:
    queried = compute(client, asked, Accept=form)
    posted = compute(client, asked, "POST", Accept=form)
    for reply in (queried, posted):
        assert reply.status_code == 200
        assert reply.mimetype == form
        assert reply.headers["Cache-Control"] == "public, max-age=3600"
        assert reply.headers["Vary"] == "Accept"
        assert "Content-Location" not in reply.headers
    tag, weak = queried.get_etag()
    assert tag and not weak
    assert posted.get_etag() == queried.get_etag()
    assert posted.data == queried.data


def test_each_form_and_each_request_has_a_tag_of_its_own(client: FlaskClient, asked: bytes) -> None:
    other = json.dumps(json.loads(asked) | {"distances": ["20 yd"]}).encode()
    tags = {compute(client, asked, Accept=form).headers["ETag"] for form in FORMS}
    tags.add(compute(client, other).headers["ETag"])
    assert len(tags) == len(FORMS) + 1


def test_the_same_bytes_of_another_media_type_have_another_tag() -> None:
    tags = {tag_of(Response(b"1", content_type=form)) for form in FORMS}
    assert len(tags) == len(FORMS)


def test_only_a_reply_that_succeeds_may_be_kept() -> None:
    app = Flask("bare")
    app.add_url_rule("/<int:status>", "bare", lambda status: Response("said", status=status))
    install(app, Settings())
    client = app.test_client()
    assert "ETag" in client.get("/200").headers
    for status in (202, 302, 404, 500):
        headers = client.get(f"/{status}", headers={"If-None-Match": "*"}).headers
        assert not {"ETag", "Cache-Control"} & set(headers.keys())


@pytest.mark.parametrize("form", FORMS)
def test_a_query_for_what_the_caller_has_is_not_answered_again(
    client: FlaskClient, asked: bytes, form: str
) -> None:
    first = compute(client, asked, Accept=form)
    again = compute(client, asked, Accept=form, If_None_Match=first.headers["ETag"])
    check_unchanged(first, again)


@pytest.mark.parametrize("path", FOUND)
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_what_there_is_is_asked_for_again_each_time(
    client: FlaskClient, path: str, method: str
) -> None:
    first = client.open(path, method=method)
    assert first.status_code == 200
    assert first.headers["Cache-Control"] == "no-cache"
    assert first.headers["ETag"] == client.get(path).headers["ETag"]
    again = client.open(path, method=method, headers={"If-None-Match": first.headers["ETag"]})
    check_unchanged(first, again)


def check_unchanged(first: TestResponse, again: TestResponse) -> None:
    """304 after RFC 9110, 15.4.5: what a kept reply must be told, and nothing of what it holds."""
    assert again.status_code == 304
    assert again.data == b""
    for name in ("ETag", "Cache-Control", "Vary", "Content-Security-Policy"):
        assert again.headers.get(name) == first.headers.get(name), name
    assert not {"Content-Type", "Content-Length", "Content-Disposition"} & set(again.headers.keys())


@pytest.mark.parametrize(
    ("said", "status"),
    [
        ('"{tag}"', 304),
        ('W/"{tag}"', 304),
        ('"other", "{tag}"', 304),
        ('W/"other",W/"{tag}" , "more"', 304),
        ("*", 304),
        ('"other"', 200),
        ('W/"other", "{tag}x"', 200),
        ('"*"', 200),
        ("", 200),
    ],
)
@pytest.mark.parametrize("method", ["GET", "QUERY"])
def test_preconditions_are_compared_weakly(
    client: FlaskClient, asked: bytes, method: str, said: str, status: int
) -> None:
    def ask(**headers: str) -> TestResponse:
        if method == "QUERY":
            return compute(client, asked, **headers)
        return client.get("/v1/units", headers={k.replace("_", "-"): v for k, v in headers.items()})

    tag, _ = ask().get_etag()
    reply = ask(If_None_Match=said.replace("{tag}", str(tag)))
    assert reply.status_code == status


def test_a_post_has_no_preconditions(client: FlaskClient, asked: bytes) -> None:
    first = compute(client, asked, "POST")
    for name in ("If_None_Match", "If_Match"):
        for said in (first.headers["ETag"], '"other"', "*"):
            again = compute(client, asked, "POST", **{name: said})
            assert (again.status_code, again.data) == (200, first.data)


@pytest.mark.parametrize(
    ("said", "status"),
    [('"other"', 412), ('W/"{tag}"', 412), ('"other", "{tag}"', 200), ("*", 200)],
)
def test_a_reply_that_must_be_a_known_one(client: FlaskClient, said: str, status: int) -> None:
    tag, _ = client.get("/v1/units").get_etag()
    reply = client.get("/v1/units", headers={"If-Match": said.replace("{tag}", str(tag))})
    assert reply.status_code == status
    if status == 412:
        assert reply.get_json()["type"] == "/problems/precondition-failed"


@pytest.mark.parametrize("path", ["/docs", "/kiosk/main.js"])
def test_a_page_s_file_keeps_its_own_tag(client: FlaskClient, path: str) -> None:
    reply = client.get(path)
    assert reply.headers.getlist("Cache-Control") == ["no-cache"]
    (tag,) = reply.headers.getlist("ETag")
    assert client.get(path, headers={"If-None-Match": tag}).status_code == 304
    refused = client.get(path, headers={"If-Match": '"other"'})
    assert refused.status_code == 412
    assert refused.get_json()["type"] == "/problems/precondition-failed"


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/healthz", 200),
        ("HEAD", "/healthz", 200),
        ("GET", "/readyz", 200),
        ("GET", "/nothing", 404),
        ("QUERY", COMPUTATION, 415),
        ("PUT", COMPUTATION, 405),
    ],
)
def test_how_things_stand_and_problems_are_not_kept(
    client: FlaskClient, method: str, path: str, status: int
) -> None:
    reply = client.open(path, method=method, headers={"If-None-Match": "*"})
    assert reply.status_code == status
    assert reply.headers.getlist("Cache-Control") == ["no-store"]
    assert "ETag" not in reply.headers


def test_the_time_is_a_setting(asked: bytes) -> None:
    for seconds, said in ((60, "public, max-age=60"), (0, "no-cache")):
        client = create_app(settings=Settings(max_age=seconds)).test_client()
        assert compute(client, asked).headers["Cache-Control"] == said
        assert client.get("/v1/units").headers["Cache-Control"] == "no-cache"


def test_with_keys_no_shared_cache_may_keep_a_reply(asked: bytes) -> None:
    club = fresh("club")
    client = create_app(settings=Settings(keys=club.line)).test_client()
    sent = {"Authorization": f"Bearer {club.key}"}
    first = compute(client, asked, **sent)
    for reply in (first, compute(client, asked, **sent, If_None_Match=first.headers["ETag"])):
        assert reply.status_code in (200, 304)
        assert reply.cache_control.private and not reply.cache_control.public
        assert reply.cache_control.max_age == 3600
    units = client.get("/v1/units", headers=sent)
    assert units.cache_control.private and units.cache_control.no_cache
    # What the caller has is not said to whoever has no key.
    assert compute(client, asked, If_None_Match=first.headers["ETag"]).status_code == 401


def test_a_reply_depends_on_the_origin_where_some_are_named(asked: bytes) -> None:
    settings = Settings(origins=("https://app.example",))
    client = create_app(settings=settings).test_client()
    tag = compute(client, asked).headers["ETag"]
    for headers in ({}, {"Origin": "https://app.example"}, {"Origin": "https://else.example"}):
        for more in ({}, {"If_None_Match": tag}):
            assert set(compute(client, asked, **headers, **more).vary) == {"Accept", "Origin"}


def test_the_document_says_what_may_be_kept(client: FlaskClient) -> None:
    paths = client.get("/openapi.json").get_json()["paths"]
    for path, operations in paths.items():
        for operation in operations.values():
            responses = operation["responses"]
            kept = path not in ("/healthz", "/readyz")
            assert ("ETag" in responses["200"]["headers"]) == kept
            assert ("304" in responses) == ("412" in responses) == kept
            assert "Cache-Control" in responses["200"]["headers"]


REPLIES = """
import json, pathlib, sys
from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.operation.settings import Settings

client = create_app(settings=Settings(limits=Limits(seconds=60.0))).test_client()
said = {}

def keep(name, reply):
    assert reply.status_code == 200, (name, reply.text)
    said[name] = reply.headers["ETag"]

paths = client.get("/openapi.json").get_json()["paths"]
asked = [
    (path, form)
    for path, operations in sorted(paths.items())
    if "post" in operations
    for form in operations["post"]["responses"]["200"]["content"]
]
for path, form in asked[:: int(sys.argv[2])]:
    body = pathlib.Path(sys.argv[1], path.rpartition("/")[2] + ".request.json").read_bytes()
    sent = {"data": body, "content_type": "application/json", "headers": {"Accept": form}}
    keep(f"{path} {form}", client.post(path, **sent))
for path in json.loads(sys.argv[3]):
    keep(path, client.get(path))
print(json.dumps(said))
"""


def replies_of_a_process(seed: str, order: int) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-c", REPLIES, str(EXAMPLES), str(order), json.dumps(FOUND)],
        env=os.environ | {"PYTHONHASHSEED": seed},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def result_of(process: "subprocess.Popen[str]") -> Mapping[str, Any]:
    said, failed = process.communicate(timeout=400)
    assert process.returncode == 0, failed
    found = json.loads(said)
    assert isinstance(found, dict)
    return found


def test_every_process_sends_the_same_bytes() -> None:
    """Every example in every form, with other hashes and in the opposite order."""
    processes = [replies_of_a_process("1", 1), replies_of_a_process("2", -1)]
    try:
        first, second = (result_of(process) for process in processes)
    finally:
        for process in processes:
            process.kill()
            process.wait(20)
    assert {name.partition(" ")[2] for name in first} >= set(FORMS)
    differ = [name for name in first if first[name] != second[name]]
    assert first.keys() == second.keys() and not differ
