"""What an operator sets by variables, and how what cannot be understood is told."""

import re
from dataclasses import asdict, fields
from typing import Any

import pytest
from strangers import ROOT

from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.operation.settings import BadSetting, Settings

NAMES = [item.name for item in fields(Limits)]


def settings(**variables: str) -> Settings:
    return Settings.from_environment(
        {f"ARROWLOFT_{name}": text for name, text in variables.items()}
    )


def test_nothing_set_is_the_default() -> None:
    assert settings() == Settings()
    assert settings(LIMIT_BODY="", WAITING="  ") == Settings()


@pytest.mark.parametrize("name", NAMES)
def test_each_limit_is_set_by_its_own_variable(name: str) -> None:
    found = asdict(settings(**{f"LIMIT_{name.upper()}": "7"}).limits)
    assert found == asdict(Limits()) | {name: 7}


def test_seconds_may_be_broken_and_counts_may_not() -> None:
    assert settings(LIMIT_SECONDS="0.5").limits.seconds == 0.5
    with pytest.raises(BadSetting):
        settings(LIMIT_CELLS="0.5")


@pytest.mark.parametrize("text", ["0", "-1", "many", "1e3", "٣", "0x10", "1_000", "9" * 13])
def test_what_is_no_count_stops_the_start(text: str) -> None:
    with pytest.raises(BadSetting, match="ARROWLOFT_LIMIT_WORK"):
        settings(LIMIT_WORK=text)


@pytest.mark.parametrize("name", ["DEPTH", "DIGITS"])
def test_what_would_break_the_reader_stops_the_start(name: str) -> None:
    with pytest.raises(BadSetting, match=f"ARROWLOFT_LIMIT_{name}=5000 is more than"):
        settings(**{f"LIMIT_{name}": "5000"})


def test_every_fault_is_named_at_once() -> None:
    wrong = {"LIMIT_BODY": "big", "LIMIT_SECONDS": "0", "WAITING": "-2", "ORIGINS": "*"}
    with pytest.raises(BadSetting) as found:
        settings(**wrong)
    lines = str(found.value).splitlines()
    assert sorted(line.split("=")[0] for line in lines) == sorted(
        f"ARROWLOFT_{name}" for name in wrong
    )


@pytest.mark.parametrize(
    ("name", "text"),
    [
        *[("PORT", text) for text in ("0", "80000", "abc")],
        *[("BIND", text) for text in ("foo", "127.0.0.1:80", "127.1")],
        *[("WORKERS", text) for text in ("0", "1000", "two")],
        ("WORKER_REQUESTS", "-1"),
        ("LOG_FORMAT", "xml"),
        ("LOG_LEVEL", "loud"),
        ("METRICS_PORT", "70000"),
        ("METRICS_BIND", "here"),
    ],
)
def test_how_it_is_run_is_understood_or_stops_the_start(name: str, text: str) -> None:
    with pytest.raises(BadSetting, match=f"^ARROWLOFT_{name}={text} is (no|more)"):
        settings(**{name: text})


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("KEY_FILE", 'did you mean "ARROWLOFT_KEYS_FILE"?'),
        ("KEY", 'did you mean "ARROWLOFT_KEYS"?'),
        ("ORIGIN", 'did you mean "ARROWLOFT_ORIGINS"?'),
        ("LIMIT_CELL", 'did you mean "ARROWLOFT_LIMIT_CELLS"?'),
        ("keys", 'did you mean "ARROWLOFT_KEYS"?'),
        ("LIMIT_FOO", "ARROWLOFT_"),
        ("XYZ", "known here: ARROWLOFT_LIMIT_BODY, "),
    ],
)
def test_a_slip_in_a_name_stops_the_start(name: str, meant: str) -> None:
    with pytest.raises(BadSetting) as found:
        settings(**{name: "geheim"})
    assert f"ARROWLOFT_{name} is no setting; " in str(found.value)
    assert meant in str(found.value) and "geheim" not in str(found.value)


def test_what_others_read_is_no_slip() -> None:
    """The scripts of deploy/, the tests, and what a cluster says of a service of this name."""
    texts = [
        path.read_text(encoding="utf-8")
        for folder in ("deploy", "tests")
        for path in (ROOT / folder).rglob("*")
        if path.suffix in ("", ".sh", ".yaml", ".py", ".service")
        and path.is_file()
        and path.parent.name != "operation"
    ]
    read = {name for text in texts for name in re.findall(r"\bARROWLOFT_([A-Z_]+[A-Z])\b", text)}
    assert {"PYTHON", "SWEEP", "FUZZ_EXAMPLES"} <= read
    # Of the command that makes containers: in a service they would set nothing.
    read -= {"KEYS_FOLDER", "ADDRESS"}
    links = ["SERVICE_HOST", "SERVICE_PORT_HTTP", "PORT_8080_TCP", "PORT_8080_TCP_ADDR"]
    with pytest.raises(BadSetting) as found:
        settings(**dict.fromkeys([*read, *links, "KEYS_FILES"], "~"))
    said = str(found.value).splitlines()
    assert len([line for line in said if "is no setting" in line]) == 1


def test_nobody_may_wait_if_so_wished() -> None:
    assert settings(WAITING="0").waiting == 0


@pytest.fixture(scope="module")
def served() -> Any:
    small = Settings(limits=Limits(depth=4, digits=12, body=300, work=77), waiting=5)
    return create_app(settings=small).test_client()


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b'{"a": [[[[0]]]]}', "nested deeper than 4 levels"),
        (b'{"a": 1234567890123}', "give at most 12"),
    ],
)
def test_what_is_set_bounds_a_body(served: Any, body: bytes, said: str) -> None:
    reply = served.post("/v1/mark-table", data=body, content_type="application/json")
    assert reply.status_code == 400
    assert said in reply.get_json()["detail"]


def test_the_document_says_what_is_set(served: Any) -> None:
    document = served.get("/openapi.json").get_json()
    found = document["x-limits"]
    assert found == asdict(Limits(depth=4, digits=12, body=300, work=77)) | {"waiting": 5}
    text = " ".join(document["info"]["description"].split())
    for said in ("300 bytes", "4 levels", "12 digits", "77 evaluations", "more than 5 requests"):
        assert said in text
