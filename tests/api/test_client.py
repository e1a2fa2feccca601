"""The client: against a stand-in server, what it sends and makes of each reply; then the service.

The service is asked over HTTP too, and the demo's table is printed from its reply.
"""

import csv
import io
import json
import math
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from flask import Flask, Response, request
from werkzeug.serving import WSGIRequestHandler, make_server

from arrowloft.app import create_app
from arrowloft.client import Client, ClientError, Problem, UnexpectedReply, Unreachable

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "openapi" / "examples"
COMPUTATIONS = sorted(
    path.removeprefix("/v1/")
    for path, operations in json.loads((ROOT / "openapi" / "openapi.json").read_text())[
        "paths"
    ].items()
    if "post" in operations
)

PROBLEM = {
    "type": "/problems/invalid-request",
    "title": "Members of the request are invalid",
    "status": 422,
    "detail": "Give at least 1 g.",
    "errors": [{"pointer": "/arrow/mass", "detail": "Give at least 1 g."}],
}


class Handler(WSGIRequestHandler):
    """Prints nothing."""

    def log(self, type: str, message: str, *args: object) -> None:
        pass


def echo() -> Response:
    """What was asked, as the reply."""
    if request.accept_mimetypes.best == "text/csv":
        return Response("distance,travel\n20,0\n", mimetype="text/csv")
    asked = {
        "method": request.method,
        "path": request.path,
        "raw_path": request.environ["RAW_URI"],
        "body": request.get_json(silent=True),
        "accept": request.headers["Accept"],
    }
    return Response(json.dumps(asked), mimetype="application/json")


def stand_in() -> Flask:
    app = Flask("stand-in", static_folder=None)
    for path in (f"/v1/{name}" for name in COMPUTATIONS):
        app.add_url_rule(path, path, echo, methods=["POST"])
    for path in (
        "/v1/models",
        "/v1/models/<kind>/<name>",
        "/v1/units",
        "/healthz",
        "/readyz",
        "/openapi.json",
    ):
        app.add_url_rule(path, path, lambda **_: echo())
    replies = {
        "problem": Response(json.dumps(PROBLEM), 422, mimetype="application/problem+json"),
        "bare-problem": Response("{}", 500, mimetype="application/problem+json"),
        "broken-problem": Response("{", 422, mimetype="application/problem+json"),
        "html": Response("<p>hello</p>", 200, mimetype="text/html"),
        "gateway": Response("<p>bad gateway</p>", 502, mimetype="text/html"),
        "json-error": Response("{}", 500, mimetype="application/json"),
        "redirect": Response("", 307, headers={"Location": "/v1/models"}),
        "list": Response("[1]", 200, mimetype="application/json"),
        "cut": Response('{"a":', 200, mimetype="application/json"),
    }
    for name, reply in replies.items():
        path = f"/{name}/v1/mark-table"
        app.add_url_rule(path, path, lambda reply=reply: reply, methods=["POST"])
    return app


@contextmanager
def served(app: Flask) -> Iterator[str]:
    """Address of the app, served on a free port for as long as the block lasts."""
    server = make_server("127.0.0.1", 0, app, threaded=True, request_handler=Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with served(stand_in()) as url:
        yield url


@pytest.fixture(scope="module")
def service() -> Iterator[str]:
    with served(create_app()) as url:
        yield url


@pytest.fixture
def client(address: str) -> Iterator[Client]:
    with Client(address, timeout=5) as made:
        yield made


@pytest.mark.parametrize("call", [name.replace("-", "_") for name in COMPUTATIONS])
def test_a_computation_is_posted_as_json(client: Client, call: str) -> None:
    asked = {"slope": "3 deg", "distances": ["20 yd"]}
    reply = getattr(client, call)(asked)
    assert reply["method"] == "POST"
    assert reply["path"] == "/v1/" + call.replace("_", "-")
    assert reply["body"] == asked
    assert reply["accept"].startswith("application/json")
    assert "application/problem+json" in reply["accept"]


@pytest.mark.parametrize(
    ("call", "path"),
    [
        ("models", "/v1/models"),
        ("units", "/v1/units"),
        ("health", "/healthz"),
        ("ready", "/readyz"),
        ("openapi", "/openapi.json"),
    ],
)
def test_what_exists_is_fetched(client: Client, call: str, path: str) -> None:
    reply = getattr(client, call)()
    assert (reply["method"], reply["path"], reply["body"]) == ("GET", path, None)


def test_a_model_is_fetched_by_kind_and_name(client: Client) -> None:
    assert client.model("drag", "constant")["path"] == "/v1/models/drag/constant"


def test_a_name_cannot_leave_its_place_in_the_path(client: Client) -> None:
    assert client.model("drag", "a b?c#d")["raw_path"] == "/v1/models/drag/a%20b%3Fc%23d"


def test_csv_comes_as_text(client: Client) -> None:
    assert client.csv("mark-table", {}) == "distance,travel\n20,0\n"


class Keeping(BaseHTTPRequestHandler):
    """Keeps connections open, which the development server above does not; says its peer."""

    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        body = json.dumps({"peer": self.client_address[1]}).encode()
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        pass


def test_the_connection_is_kept() -> None:
    with ThreadingHTTPServer(("127.0.0.1", 0), Keeping) as server:
        server.daemon_threads = True
        server.block_on_close = False
        threading.Thread(target=server.serve_forever, daemon=True).start()
        with Client(f"http://127.0.0.1:{server.server_port}", timeout=5) as client:
            assert client.health()["peer"] == client.models()["peer"]
        server.shutdown()


def test_a_slash_at_the_end_of_the_address_does_no_harm(address: str) -> None:
    with Client(address + "/") as client:
        assert client.health()["path"] == "/healthz"


def test_a_proxy_of_the_environment_is_not_asked(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HTTP_PROXY", "http://127.0.0.1:9")
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:9")
    with Client(address) as client:
        assert client.health()["path"] == "/healthz"


def test_a_problem_is_raised_with_all_its_members(address: str) -> None:
    with Client(f"{address}/problem") as client, pytest.raises(Problem) as caught:
        client.mark_table({})
    problem = caught.value
    assert problem.status == 422
    assert problem.type == PROBLEM["type"]
    assert problem.title == PROBLEM["title"]
    assert problem.detail == PROBLEM["detail"]
    assert list(problem.errors) == PROBLEM["errors"]
    assert problem.document == PROBLEM
    assert "Give at least 1 g." in str(problem)


def test_a_problem_is_raised_where_csv_was_asked_for(address: str) -> None:
    with Client(f"{address}/problem") as client, pytest.raises(Problem):
        client.csv("mark-table", {})


def test_a_problem_without_members_has_defaults(address: str) -> None:
    with Client(f"{address}/bare-problem") as client, pytest.raises(Problem) as caught:
        client.mark_table({})
    assert (caught.value.status, caught.value.type, caught.value.errors) == (500, "about:blank", ())


@pytest.mark.parametrize(
    ("reply", "status"),
    [
        ("html", 200),
        ("gateway", 502),
        ("json-error", 500),
        ("redirect", 307),
        ("list", 200),
        ("cut", 200),
        ("broken-problem", 422),
        ("nothing-here", 404),
    ],
)
def test_any_other_reply_is_unexpected(address: str, reply: str, status: int) -> None:
    with Client(f"{address}/{reply}") as client, pytest.raises(UnexpectedReply) as caught:
        client.mark_table({})
    assert caught.value.status == status


def test_json_where_csv_is_due_is_unexpected(address: str) -> None:
    with Client(f"{address}/list") as client, pytest.raises(UnexpectedReply):
        client.csv("mark-table", {})


def test_a_closed_port_is_unreachable() -> None:
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        port = bound.getsockname()[1]
        client = Client(f"http://127.0.0.1:{port}", timeout=5)
        with client, pytest.raises(Unreachable, match="is the service running there"):
            client.health()


@pytest.fixture
def silent() -> Iterator[socket.socket]:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        yield listening


def test_a_silent_server_is_unreachable_within_the_timeout(silent: socket.socket) -> None:
    url = f"http://127.0.0.1:{silent.getsockname()[1]}"
    with Client(url, timeout=0.2) as client, pytest.raises(Unreachable, match=r"within 0\.2 s"):
        client.health()


def test_a_reply_that_is_cut_off_is_unreachable(silent: socket.socket) -> None:
    def answer() -> None:
        connection, _ = silent.accept()
        with connection:
            connection.recv(4096)
            head = "HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"
            connection.sendall(f"{head}Content-Length: 99\r\n\r\n{{".encode())

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    url = f"http://127.0.0.1:{silent.getsockname()[1]}"
    with Client(url, timeout=5) as client, pytest.raises(Unreachable):
        client.health()
    thread.join(5)


@pytest.mark.parametrize(
    "address", ["nonsense", "", "127.0.0.1:8080", "ftp://a", "http://", "http://a:b", "http://[::"]
)
def test_there_is_no_client_without_an_address(address: str) -> None:
    with pytest.raises(ClientError, match="is not the address of a service"):
        Client(address)


def test_whatever_else_hinders_a_request_is_an_error_of_the_client() -> None:
    # The path lies outside of what the check of the address sees.
    with Client("http://..") as client, pytest.raises(ClientError):
        client.health()


@pytest.mark.parametrize("timeout", [0, -1, math.nan])
def test_there_is_no_client_without_a_timeout(timeout: float) -> None:
    with pytest.raises(ValueError, match="timeout"):
        Client(timeout=timeout)


def test_nan_in_a_request_is_the_callers_error(client: Client) -> None:
    with pytest.raises(ValueError, match="NaN"):
        client.mark_table({"relative_humidity": math.nan})


def test_all_its_errors_can_be_caught_as_one() -> None:
    assert all(issubclass(kind, ClientError) for kind in (Problem, Unreachable, UnexpectedReply))


def example(name: str) -> dict[str, Any]:
    asked = json.loads((EXAMPLES / f"{name}.request.json").read_text(encoding="utf-8"))
    assert isinstance(asked, dict)
    return asked


def test_the_service_answers_every_computation(service: str) -> None:
    with Client(service) as client:
        for name in COMPUTATIONS:
            reply = getattr(client, name.replace("-", "_"))(example(name))
            assert {"units", "notes"} <= reply.keys()


def test_the_readme_s_lines_of_python_run(
    service: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    readme = (EXAMPLES.parents[1] / "README.md").read_text(encoding="utf-8")
    shown = readme[readme.index("## One request") :]
    request_, lines = (
        shown.split(f"```{kind}\n", 1)[1].split("```")[0] for kind in ("json", "python")
    )
    (tmp_path / "request.json").write_text(request_, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    found: dict[str, Any] = {}
    exec(lines.replace("Client()", f"Client({service!r})"), found)
    assert found["drawing"].rstrip().endswith("</svg>")
    assert found["sheet"].startswith(b"%PDF-")


def test_the_services_csv_holds_the_rows_of_its_json(service: str) -> None:
    asked = example("mark-table")
    with Client(service) as client:
        rows = client.mark_table(asked)["rows"]
        head, *lines = csv.reader(io.StringIO(client.csv("mark-table", asked)))
    assert [title.split(" ")[0] for title in head] == list(rows[0])
    assert [[float(cell) for cell in line] for line in lines] == [
        list(row.values()) for row in rows
    ]


def test_the_service_draws_where_it_can(service: str) -> None:
    with Client(service) as client:
        drawn = client.picture("overshoot", example("overshoot"))
        assert ElementTree.fromstring(drawn).tag == "{http://www.w3.org/2000/svg}svg"
        assert client.pdf("overshoot", example("overshoot")).startswith(b"%PDF-")
        with pytest.raises(Problem) as raised:
            client.picture("slopes", example("slopes"))
    assert raised.value.status == 406


def test_the_service_says_what_it_has(service: str) -> None:
    with Client(service) as client:
        assert client.health()["status"] == "ok"
        assert client.ready()["status"] == "ready"
        assert client.openapi()["openapi"].startswith("3.1")
        for model in client.models()["models"]:
            described = client.model(model["kind"], model["name"])
            assert described["version"] == model["version"]


def test_the_services_problems_are_raised(service: str) -> None:
    asked = example("mark-table")
    asked["arrow"]["mass"] = "-1 gr"
    with Client(service) as client:
        with pytest.raises(Problem) as invalid:
            client.mark_table(asked)
        with pytest.raises(Problem) as missing:
            client.model("drag", "no/such")
    assert invalid.value.status == 422
    assert [error["pointer"] for error in invalid.value.errors] == ["/arrow/mass"]
    assert missing.value.status == 404


def print_table(url: str, request: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    script = ROOT / "deploy" / "print_table.py"
    return subprocess.run(
        [sys.executable, str(script), "--url", url, *arguments, str(request)],
        capture_output=True,
        text=True,
        timeout=30,
    )


def test_the_demos_table_is_printed(service: str) -> None:
    asked = EXAMPLES / "mark-table.request.json"
    with Client(service) as client:
        reply = client.mark_table(example("mark-table"))
    printed = print_table(service, asked)
    assert (printed.returncode, printed.stderr) == (0, "")
    above, _, below = printed.stdout.partition("---\n")
    units = above.splitlines()[-2].split()
    assert units[0] == reply["units"]["distance"] and reply["units"]["length"] in units
    lines = [line.split() for line in below.split("\n\n")[0].splitlines()]
    assert len(lines) == len(reply["rows"])
    for line, row in zip(lines, reply["rows"], strict=True):
        # Four digits of the largest number of the column are shown.
        assert float(line[0]) == pytest.approx(row["distance"], abs=0.05)
        assert float(line[2]) == pytest.approx(row["travel"], abs=0.005)
    assert "+/- is one standard uncertainty" in printed.stdout
    pins = printed.stdout.partition("Pins, down from the first: ")[2].partition("\n\n")[0]
    assert pins.split(", ")[1].startswith("30 yd at ") and len(pins.split(", ")) == 3
    clicks = [int(line[-1]) for line in lines]
    assert clicks == [row["windage_clicks"] for row in reply["rows"]]
    for note in reply["notes"]:
        assert f"[{note['code']}]" in printed.stdout
    assert max(map(len, printed.stdout.splitlines())) <= 100


def test_a_refused_demo_is_one_line(service: str, tmp_path: Path) -> None:
    asked = tmp_path / "asked.json"
    asked.write_text(json.dumps(example("mark-table") | {"slope": "3"}))
    printed = print_table(service, asked)
    assert (printed.returncode, printed.stdout) == (1, "")
    assert printed.stderr.count("\n") == 1 and "/slope" in printed.stderr


def test_waiting_ends_with_the_server_process(tmp_path: Path) -> None:
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{bound.getsockname()[1]}"
        printed = print_table(url, tmp_path / "unread.json", "--server", str(ended.pid))
    assert (printed.returncode, printed.stdout, printed.stderr) == (3, "", "")
