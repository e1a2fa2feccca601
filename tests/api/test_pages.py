"""The pages' files over HTTP, without a browser: names, types, forms, tags, policy."""

import gzip
import json
import re
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from lasting import lasting

from arrowloft.api import catalogue, problems
from arrowloft.api.resource import Edge, Limits
from arrowloft.app import create_app
from arrowloft.kiosk import serving, write_examples
from arrowloft.plugin.registry import Registry

BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,*/*;q=0.8"
PACKED = {"Accept-Encoding": "gzip, deflate, br"}
PAGES = Path(serving.__file__).parent


def page_names() -> list[str]:
    """Every file of the kiosk's page but the page itself, as it lies in the checkout."""
    found = (path for path in (PAGES / "page").rglob("*") if path.is_file())
    names = sorted(path.relative_to(PAGES / "page").as_posix() for path in found)
    return [name for name in names if name != "index.html"]


ADDRESSES = [
    *(f"/kiosk/{name}" for name in page_names()),
    "/docs",
    "/docs/docs.js",
    "/docs/docs.css",
    "/docs/examples.json",
    "/docs/swagger-ui-bundle.js",
    "/docs/swagger-ui.css",
    "/docs/guide/researchers.md",
]


def test_there_is_a_page() -> None:
    assert any(name.endswith(".js") for name in page_names())


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_file_comes_as_what_it_is(client: FlaskClient, address: str) -> None:
    reply = client.get(address)
    assert reply.status_code == 200
    ending = "html" if address == "/docs" else address.rpartition(".")[2]
    assert reply.content_type == serving.CONTENT_TYPES[ending]
    assert reply.headers["X-Content-Type-Options"] == "nosniff"
    assert reply.headers["Cache-Control"] == "no-cache"
    assert reply.headers["Content-Security-Policy"] == serving.POLICY
    assert reply.content_length == len(reply.data) > 0
    assert "Content-Encoding" not in reply.headers


def test_scripts_and_styles_have_the_types_that_browsers_insist_on(client: FlaskClient) -> None:
    for address, content_type in (
        ("/docs", "text/html; charset=utf-8"),
        ("/docs/docs.js", "text/javascript; charset=utf-8"),
        ("/docs/docs.css", "text/css; charset=utf-8"),
    ):
        assert client.get(address).content_type == content_type


def test_a_page_s_file_is_sent_as_it_lies_there(client: FlaskClient) -> None:
    for name in page_names():
        assert client.get(f"/kiosk/{name}").data == (PAGES / "page" / name).read_bytes()
    shown = client.get("/", headers={"Accept": BROWSER}).data
    assert shown == (PAGES / "page" / "index.html").read_bytes()
    assert client.get("/docs").data == (PAGES / "document" / "docs.html").read_bytes()


@pytest.mark.parametrize("address", ADDRESSES)
def test_head_says_what_get_would(client: FlaskClient, address: str) -> None:
    for headers in ({}, PACKED):
        got, head = client.get(address, headers=headers), client.head(address, headers=headers)
        assert head.status_code == 200 and head.data == b""
        assert lasting(head) == lasting(got)


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_large_text_comes_compressed_to_who_takes_it(client: FlaskClient, address: str) -> None:
    plain, packed = client.get(address), client.get(address, headers=PACKED)
    if packed.content_type in ("image/png", "font/woff2") or len(plain.data) <= 1024:
        assert packed.data == plain.data and "Vary" not in packed.headers
        return
    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == plain.data
    assert packed.data[4:8] == b"\0\0\0\0"  # no time of its making: the same bytes everywhere
    assert len(packed.data) < len(plain.data)
    assert plain.headers["Vary"] == packed.headers["Vary"] == "Accept-Encoding"
    assert packed.headers["ETag"] != plain.headers["ETag"]


@pytest.mark.parametrize(
    ("accepted", "taken"),
    [
        ("gzip", True),
        ("GZIP", True),
        ("br, gzip;q=0.5", True),
        ("*", True),
        ("gzip;q=0", False),
        ("gzip;q=0, *", False),
        ("br;q=1, *;q=0", False),
        ("identity", False),
        ("gzipped", False),
        ("", False),
        ("gzip;q=many", False),
    ],
)
def test_accept_encoding(client: FlaskClient, accepted: str, taken: bool) -> None:
    reply = client.get("/docs/docs.js", headers={"Accept-Encoding": accepted})
    assert reply.status_code == 200
    assert ("Content-Encoding" in reply.headers) is taken


@pytest.mark.parametrize("headers", [{}, PACKED])
def test_what_a_browser_holds_is_not_sent_again(
    client: FlaskClient, headers: dict[str, str]
) -> None:
    first = client.get("/docs/docs.js", headers=headers)
    tag = first.headers["ETag"]
    assert tag == f'"{sha256(first.data).hexdigest()[:32]}"'  # strong, and of the content
    for held in (tag, f'"other", {tag}', f"W/{tag}", "*"):
        again = client.get("/docs/docs.js", headers=headers | {"If-None-Match": held})
        assert again.status_code == 304 and again.data == b"", held
        assert again.headers["ETag"] == tag
        assert again.headers["Cache-Control"] == "no-cache"
        assert again.headers["Vary"] == "Accept-Encoding"
        assert not {"Content-Length", "Content-Encoding"} & set(again.headers.keys())
    for held in ('"other"', tag.strip('"')[:-1], ""):
        again = client.get("/docs/docs.js", headers=headers | {"If-None-Match": held})
        assert again.status_code == 200 and again.data == first.data, held


def test_a_tag_of_one_form_is_none_of_the_other(client: FlaskClient) -> None:
    tag = client.get("/docs/docs.js").headers["ETag"]
    again = client.get("/docs/docs.js", headers=PACKED | {"If-None-Match": tag})
    assert again.status_code == 200


def test_every_process_sends_the_same_bytes(client: FlaskClient) -> None:
    serving_anew = create_app().test_client()
    for address in ADDRESSES:
        one, other = (asked.get(address, headers=PACKED) for asked in (client, serving_anew))
        assert one.data == other.data and lasting(one) == lasting(other)


@pytest.mark.parametrize(
    "address",
    [
        "/kiosk",
        "/kiosk/",
        "/kiosk/index.html",  # `/` has it: one page, one address
        "/kiosk/steps",
        "/kiosk/steps/",
        "/kiosk/main.js/",
        "/kiosk//main.js",
        "/kiosk/./main.js",
        "/kiosk/steps/../main.js",
        "/kiosk/../serving.py",
        "/kiosk/%2e%2e/serving.py",
        "/kiosk/..%2fserving.py",
        "/kiosk/..%5cserving.py",
        "/kiosk/%2fetc%2fpasswd",
        "/kiosk//etc/passwd",
        "/kiosk/main.js%00",
        "/kiosk/MAIN.JS",
        "/kiosk/%ff",
        "/kiosk/" + "a/" * 500,
        "/docs/",
        "/docs/docs.html",
        "/docs/index.html",
        "/docs/swagger-ui-standalone-preset.js",
        "/docs/oauth2-redirect.html",
        "/docs/LICENSE",
        "/docs/guide",
        "/docs/guide/",
        "/docs/guide/../docs.js",
        "/docs/../kiosk/main.js",
        "/favicon.ico",
    ],
)
@pytest.mark.parametrize("method", ["get", "head"])
def test_an_unknown_name_is_a_problem(client: FlaskClient, address: str, method: str) -> None:
    reply = getattr(client, method)(address, headers={"Accept": BROWSER})
    assert reply.status_code == 404
    assert reply.content_type == "application/problem+json"
    assert reply.headers["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'"
    if method == "get":
        assert reply.get_json()["type"] == "/problems/not-found"


def test_what_the_names_stand_for_is_never_looked_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Served from memory: a file that comes, changes or goes after the start makes no odds."""
    (tmp_path / "steps").mkdir()
    (tmp_path / "steps" / "marks.js").write_text("one")
    (tmp_path / "odd.py").write_text("secret")
    (tmp_path / ".hidden.js").write_text("secret")
    (tmp_path / ".cache").mkdir()
    (tmp_path / ".cache" / "kept.js").write_text("secret")
    (tmp_path / "none").write_text("secret")
    app = Flask("probe")
    listed = serving.files_in(tmp_path)
    assert set(listed) == {"steps/marks.js"}
    serving.install(app, "/own", listed)
    (tmp_path / "steps" / "marks.js").write_text("two")
    (tmp_path / "later.js").write_text("three")
    asked = app.test_client()
    assert asked.get("/own/steps/marks.js").data == b"one"
    for name in ("later.js", "odd.py", ".hidden.js", ".cache/kept.js", "none", "steps"):
        assert asked.get(f"/own/{name}").status_code == 404


@pytest.mark.parametrize("address", ["/kiosk/main.js", "/docs/docs.js", "/docs", "/"])
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "QUERY"])
def test_a_page_is_only_read(client: FlaskClient, address: str, method: str) -> None:
    reply = client.open(address, method=method)
    assert reply.status_code == 405
    assert reply.content_type == "application/problem+json"
    assert reply.headers["Allow"] == "GET, HEAD, OPTIONS"


def test_nothing_inline_and_nothing_from_elsewhere(client: FlaskClient) -> None:
    policy = dict(part.split(" ", 1) for part in serving.POLICY.split("; "))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    for closed in ("form-action", "base-uri", "frame-ancestors"):
        assert policy[closed] == "'none'"
    assert "unsafe" not in serving.POLICY and "*" not in serving.POLICY
    assert "http" not in serving.POLICY


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        (None, "application/json"),
        ("", "application/json"),
        ("*/*", "application/json"),
        ("application/json", "application/json"),
        ("application/*", "application/json"),
        ("application/json, text/html", "application/json"),
        ("application/json, text/html;q=0.9", "application/json"),
        ("text/html;q=0.5, application/json;q=0.6", "application/json"),
        ("text/html;q=0, */*", "application/json"),
        ("image/png", "application/json"),
        ("application/json, text/plain, */*", "application/json"),
        ("text/html", "text/html"),
        ("TEXT/HTML", "text/html"),
        ("text/*", "text/html"),
        ("text/html;q=0.6, application/json;q=0.5", "text/html"),
        ("text/html, */*;q=0.1", "text/html"),
        (BROWSER, "text/html"),
    ],
)
def test_the_entrance_is_a_page_to_who_prefers_one(
    client: FlaskClient, accept: str | None, form: str
) -> None:
    reply = client.get("/", headers={} if accept is None else {"Accept": accept})
    assert reply.status_code == 200
    assert reply.mimetype == form
    assert "Accept" in reply.vary
    if form == "application/json":
        assert reply.get_json()["service"] == "arrowloft"


def test_the_entrance_is_held_and_compressed_like_any_page(client: FlaskClient) -> None:
    reply = client.get("/", headers={"Accept": BROWSER} | PACKED)
    assert reply.headers["Content-Encoding"] == "gzip"
    assert set(reply.vary) == {"Accept", "Accept-Encoding"}
    asked = {"Accept": BROWSER, "If-None-Match": reply.headers["ETag"]} | PACKED
    again = client.get("/", headers=asked)
    assert again.status_code == 304 and set(again.vary) == {"Accept", "Accept-Encoding"}
    # Whoever asks for JSON is not told that the page is unchanged.
    assert client.get("/", headers=asked | {"Accept": "application/json"}).status_code == 200


@pytest.mark.parametrize("accept", ["application/json", "image/png", "text/html;q=0"])
def test_the_document_page_comes_as_html_only(client: FlaskClient, accept: str) -> None:
    reply = client.get("/docs", headers={"Accept": accept})
    assert reply.status_code == 406
    assert "text/html" in reply.get_json()["detail"]


def test_an_edge_without_pages_answers_as_before() -> None:
    alone = Flask("alone")
    catalogue.install(alone, Edge.of(Registry.discover(), Limits()), {})
    problems.install(alone)
    asked = alone.test_client()
    assert asked.get("/", headers={"Accept": BROWSER}).mimetype == "application/json"
    assert asked.get("/docs", headers={"Accept": BROWSER}).status_code == 406


def test_the_requests_to_try_are_the_worked_examples(openapi_directory: Path) -> None:
    kept: Any = json.loads(write_examples.KEPT.read_text(encoding="utf-8"))
    assert kept == write_examples.examples_in(openapi_directory / "examples"), (
        "write them anew: python -m arrowloft.kiosk.write_examples openapi/examples"
    )


def test_the_page_asks_for_all_its_modules_at_once() -> None:
    """One after the other, as each is found to need the next, would cost a round trip each."""
    page = (PAGES / "page" / "index.html").read_text(encoding="utf-8")
    named = re.findall(r'<link rel="modulepreload" href="/kiosk/([^"]+)">', page)
    modules = [name for name in page_names() if name.endswith(".js") and name != "main.js"]
    assert sorted(named) == modules
