"""What is counted of a request, and under which names."""

import fcntl
import os
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from prometheus_client import CollectorRegistry
from prometheus_client.mmap_dict import MmapedDict, mmap_key
from strangers import demo_request

from arrowloft.api.problems import KINDS
from arrowloft.app import create_app
from arrowloft.kiosk.serving import ENDPOINTS
from arrowloft.operation import metrics_files, observing
from arrowloft.operation.metrics import SECONDS
from arrowloft.operation.settings import Settings


@pytest.fixture
def client() -> FlaskClient:
    return create_app(settings=Settings(metrics_port=1)).test_client()


def counted(client: FlaskClient, name: str, **labels: str) -> float | None:
    registry: CollectorRegistry = client.application.extensions[observing.EXTENSION].registry
    return registry.get_sample_value(f"arrowloft_{name}", labels)


def series(client: FlaskClient) -> set[Any]:
    registry = client.application.extensions[observing.EXTENSION].registry
    return {
        (sample.name, *sorted(sample.labels.items()))
        for metric in registry.collect()
        for sample in metric.samples
    }


def test_a_computation(client: FlaskClient) -> None:
    replies = [client.post("/v1/mark-table", json=demo_request()) for _ in range(3)]
    labels = {"operation": "mark_table"}
    assert counted(client, "requests_total", method="POST", status="200", **labels) == 3
    assert counted(client, "request_seconds_count", **labels) == 3
    assert counted(client, "reply_bytes_total", **labels) == sum(len(r.data) for r in replies)
    lanes = counted(client, "lanes_total", **labels)
    evaluations = counted(client, "drag_evaluations_total", **labels)
    assert lanes and evaluations and lanes % 3 == evaluations % 3 == 0
    assert evaluations > lanes
    for kind in ("drag", "launch"):
        model = demo_request()[kind]["model"]
        seconds = counted(client, "model_seconds_total", kind=kind, model=model)
        assert seconds and 0.0 < seconds < counted(client, "request_seconds_sum", **labels)
    assert counted(client, "requests_running") == 0
    # Reading the body is timed as well, and is no model.
    kinds = {dict(it[1:])["kind"] for it in series(client) if "model_seconds" in it[0]}
    assert kinds == {"drag", "launch"}


def test_nothing_is_counted_without_a_port_for_metrics() -> None:
    assert observing.EXTENSION not in create_app().extensions


@pytest.mark.parametrize(
    ("path", "change", "code", "status"),
    [
        ("/nowhere", {}, "not-found", "404"),
        ("/v1/mark-table", {"bow": 1}, "invalid-request", "422"),
    ],
)
def test_a_problem(
    client: FlaskClient, path: str, change: Mapping[str, Any], code: str, status: str
) -> None:
    reply = client.post(path, json=demo_request() | change)
    assert reply.status_code == int(status)
    assert counted(client, "problems_total", code=code) == 1
    operation = "none" if path == "/nowhere" else "mark_table"
    assert counted(client, "requests_total", operation=operation, method="POST", status=status) == 1


def test_a_head_sends_no_body(client: FlaskClient) -> None:
    assert client.head("/healthz").headers["Content-Length"] != "0"
    assert counted(client, "reply_bytes_total", operation="health") == 0


def test_files_of_pages_are_one_operation(client: FlaskClient) -> None:
    assert observing.FILES == ENDPOINTS
    rules = client.application.url_map.iter_rules()
    prefix = next(str(r) for r in rules if r.endpoint.startswith(ENDPOINTS)).partition("<")[0]
    client.get(prefix + "no-such-file.js")
    found = counted(client, "requests_total", operation="page file", method="GET", status="404")
    assert found == 1


def test_callers_make_no_new_series(client: FlaskClient) -> None:
    def visit(number: int) -> None:
        client.get(f"/nowhere-{number}")
        client.get(f"/problems/{number}")
        client.get(f"/v1/models/drag/{number}")
        client.open("/healthz", method=f"ODD{number}")
        asked = demo_request()
        asked["drag"]["model"] = f"none-{number}"
        client.post("/v1/mark-table", json=asked)

    visit(1)
    before = series(client)
    visit(2)
    assert series(client) == before
    assert ("method", "other") in {label for found in before for label in found[1:]}


def test_every_code_of_a_problem_is_known(client: FlaskClient) -> None:
    client.get("/nowhere")
    codes = {dict(found[1:])["code"] for found in series(client) if "problems_total" in found[0]}
    assert codes and codes <= set(KINDS)


def test_the_request_itself_is_counted_where_its_reply_gets_lost(client: FlaskClient) -> None:
    def lose(_: Any) -> Any:
        raise RuntimeError

    client.application.after_request(lose)
    client.get("/healthz")
    assert counted(client, "request_seconds_count", operation="health") == 1
    assert counted(client, "requests_running") == 0


def test_a_reply_does_not_depend_on_being_counted(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    metrics = client.application.extensions[observing.EXTENSION]

    def full(*_: Any) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(metrics.requests, "labels", full)
    assert [client.get("/healthz").status_code for _ in range(2)] == [200, 200]


def test_a_worker_has_the_space_of_its_files_from_the_beginning(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(tmp_path))
    observing.forked(client.application)
    for kind in ("counter", "histogram", "gauge_livesum"):
        found = (tmp_path / f"{kind}_{os.getpid()}.db").stat()
        assert found.st_blocks * 512 >= found.st_size > 0
    assert client.application.extensions[observing.EXTENSION].usable


def test_a_worker_without_space_counts_nothing_and_answers(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def full(*_: Any) -> None:
        raise OSError("no space left")

    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(tmp_path))
    monkeypatch.setattr(os, "posix_fallocate", full)
    observing.forked(client.application)
    assert client.get("/healthz").status_code == 200
    assert counted(client, "request_seconds_count", operation="health") is None


def test_bins_reach_from_a_constant_reply_to_the_limit_of_a_request() -> None:
    assert SECONDS[0] <= 0.001
    assert SECONDS[-1] == Settings().limits.seconds


def write(folder: Path, kind: str, process: object, **values: float) -> None:
    """A file as prometheus_client leaves it."""
    file: Any = MmapedDict(str(folder / f"{kind}_{process}.db"))
    for name, value in values.items():
        key = mmap_key(name, name, ("label",), ("one",), "help")
        file.write_value(key, value, 0.0)
    file.close()


def totals(folder: Path) -> dict[str, float]:
    return {
        sample.name: sample.value
        for metric in metrics_files.collect(folder)
        for sample in metric.samples
    }


def test_what_others_counted_that_ended_unseen_stays_too(tmp_path: Path) -> None:
    with subprocess.Popen(["true"]) as ended:
        pass
    for process in (ended.pid, os.getpid()):
        write(tmp_path, "counter", process, made=1.0)
        write(tmp_path, "gauge_livesum", process, running=1.0)
    metrics_files.end(tmp_path, set())
    assert totals(tmp_path) == {"made": 2.0, "running": 1.0}
    assert {path.name for path in tmp_path.glob("counter*")} == {
        f"counter_{os.getpid()}.db",
        "counter_ended.db",
    }


def test_what_ended_workers_counted_stays_in_one_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Whether there are processes of these numbers.
    monkeypatch.setattr(metrics_files, "_gone", lambda _: set())
    for process in range(1, 6):
        write(tmp_path, "counter", process, made=1.0, lost=10.0**process)
        write(tmp_path, "gauge_livesum", process, running=1.0)
    before = totals(tmp_path)
    assert before == {"made": 5.0, "lost": 111110.0, "running": 5.0}
    assert metrics_files.end(tmp_path, {1, 2}) == set()
    assert metrics_files.end(tmp_path, {4}) == set()
    assert totals(tmp_path) == before | {"running": 2.0}
    assert sorted(path.name for path in tmp_path.glob("counter*")) == [
        "counter_3.db",
        "counter_5.db",
        "counter_ended.db",
    ]


def test_more_names_than_a_file_begins_with_are_added_up(tmp_path: Path) -> None:
    names = {f"name_{number:04d}_{'x' * 60}": float(number) for number in range(1500)}
    write(tmp_path, "counter", 1, **names)
    write(tmp_path, "counter", 2, **names)
    metrics_files.end(tmp_path, {1, 2})
    assert totals(tmp_path) == {name: 2.0 * value for name, value in names.items()}


def test_nothing_is_added_up_while_someone_reads(tmp_path: Path) -> None:
    write(tmp_path, "counter", 1, made=1.0)
    with (tmp_path / "lock").open("a") as reader:
        fcntl.flock(reader, fcntl.LOCK_SH)
        assert metrics_files.end(tmp_path, {1}) == {1}
    assert (tmp_path / "counter_1.db").exists()
    assert metrics_files.end(tmp_path, {1}) == set()
    assert totals(tmp_path) == {"made": 1.0}


def test_a_file_that_was_only_just_made_is_no_obstacle(tmp_path: Path) -> None:
    write(tmp_path, "counter", 1, made=1.0)
    (tmp_path / "counter_2.db").touch()
    (tmp_path / "histogram_2.db").write_bytes(bytes(4096))
    assert totals(tmp_path) == {"made": 1.0}
    assert metrics_files.end(tmp_path, {2}) == set()
    assert totals(tmp_path) == {"made": 1.0}
