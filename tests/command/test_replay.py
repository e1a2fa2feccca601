"""`arrowloft replay`: kept replies computed again, edited, from elsewhere, or none at all."""

import copy
import io
import json
from pathlib import Path
from typing import Any

import pytest

from arrowloft import __version__, command
from arrowloft.api.echo import Digests
from arrowloft.replay import (
    ABSENT,
    CannotReplay,
    Difference,
    Outcome,
    Replayer,
    is_noise,
    read_reply,
)

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
NAMES = sorted(path.name.removesuffix(".request.json") for path in EXAMPLES.glob("*.request.json"))


@pytest.fixture(scope="module")
def replayer() -> Replayer:
    return Replayer.here()


def kept(replayer: Replayer, name: str) -> dict[str, Any]:
    answered = replayer.app.test_client().post(
        f"/v1/{name}?echo=true",
        data=(EXAMPLES / f"{name}.request.json").read_bytes(),
        content_type="application/json",
    )
    assert answered.status_code == 200
    return answered.get_json()


@pytest.fixture(scope="module")
def _table(replayer: Replayer) -> dict[str, Any]:
    return kept(replayer, "mark-table")


@pytest.fixture
def table(_table: dict[str, Any]) -> dict[str, Any]:
    """A kept reply, to be changed at will."""
    return copy.deepcopy(_table)


def sealed(reply: dict[str, Any]) -> dict[str, Any]:
    """The reply with digests that fit it: as a service would have made it."""
    digests = vars(Digests.of(reply))
    sealed = reply | {"replay": reply["replay"] | digests}
    # The record holds the other two.
    sealed["replay"]["record_digest"] = Digests.of(sealed).record_digest
    return sealed


@pytest.mark.parametrize("name", NAMES)
def test_every_computation_replays_the_same(replayer: Replayer, name: str) -> None:
    outcome = replayer.replay(kept(replayer, name), tolerance=0.0)
    assert outcome.same
    assert (outcome.path, outcome.versions, outcome.noise) == (f"/v1/{name}", [], [])
    assert outcome.numbers > 5


def test_all_values_are_counted(replayer: Replayer, table: dict[str, Any]) -> None:
    def leaves(value: Any) -> list[Any]:
        inner = value.values() if isinstance(value, dict) else value
        return (
            [leaf for item in inner for leaf in leaves(item)]
            if isinstance(value, dict | list)
            else [value]
        )

    outcome = replayer.replay(table)
    del table["replay"]
    found = leaves(table)
    numbers = sum(type(leaf) in (int, float) for leaf in found)
    assert (outcome.numbers, outcome.others) == (numbers, len(found) - numbers)


def test_another_writing_of_the_same_reply_is_the_same(
    replayer: Replayer, table: dict[str, Any]
) -> None:
    """As a browser or a formatter leaves it: members turned, 12.0 as 12."""

    def turned(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: turned(item) for name, item in reversed(value.items())}
        if isinstance(value, list):
            return [turned(item) for item in value]
        return int(value) if isinstance(value, float) and value.is_integer() else value

    text = json.dumps(turned(table), indent=2)
    assert replayer.replay(read_reply(text.encode()), 0.0).same


def test_an_edited_number_is_found_and_pointed_at(
    replayer: Replayer, table: dict[str, Any]
) -> None:
    true = table["rows"][2]["travel"]
    table["rows"][2]["travel"] = true * 1.25
    outcome = replayer.replay(table)
    assert (outcome.same, outcome.reply_edited, outcome.request_edited) == (False, True, False)
    (found,) = outcome.differences
    assert (found.pointer, found.kept, found.found) == ("/rows/2/travel", true * 1.25, true)
    assert found.relative == pytest.approx(0.2)
    assert outcome.numbers_differ == 1


def test_a_number_that_a_service_gave_otherwise_is_no_edit(
    replayer: Replayer, table: dict[str, Any]
) -> None:
    table["rows"][0]["time"] *= 1.001
    outcome = replayer.replay(sealed(table))
    assert (outcome.reply_edited, len(outcome.differences)) == (False, 1)
    assert replayer.replay(sealed(table), tolerance=0.0011).same


def test_the_tolerance_is_relative_and_small(replayer: Replayer, table: dict[str, Any]) -> None:
    table["rows"][0]["time"] *= 1 + 1e-13
    table["rows"][1]["time"] *= 1 + 1e-11
    assert [item.pointer for item in replayer.replay(sealed(table)).differences] == ["/rows/1/time"]
    assert len(replayer.replay(sealed(table), 0.0).differences) == 2


def test_an_edited_request_is_told(replayer: Replayer, table: dict[str, Any]) -> None:
    table["replay"]["request"]["arrow"]["mass"] = "400 gr"
    outcome = replayer.replay(table)
    assert (outcome.request_edited, outcome.reply_edited) == (True, False)
    assert "/rows/0/energy" in [item.pointer for item in outcome.differences]


def test_an_edit_that_changes_no_number_is_told_too(
    replayer: Replayer, table: dict[str, Any]
) -> None:
    table["replay"]["request"]["slope"] = "0.0 deg"
    outcome = replayer.replay(table)
    assert (outcome.same, outcome.request_edited, outcome.differences) == (False, True, [])


def edited_parts(outcome: Outcome) -> tuple[bool, bool, bool]:
    return outcome.request_edited, outcome.reply_edited, outcome.record_edited


def test_an_edited_model_version_is_told(replayer: Replayer, table: dict[str, Any]) -> None:
    table["replay"]["made_with"]["models"][0]["version"] = "2"
    outcome = replayer.replay(table)
    assert (outcome.same, outcome.differences) == (False, [])
    assert edited_parts(outcome) == (False, False, True)
    assert outcome.versions == [("drag model component", "2", "1")]


@pytest.mark.parametrize("part", ["request", "reply"])
def test_a_digest_that_was_made_to_fit_an_edit_is_told(
    replayer: Replayer, table: dict[str, Any], part: str
) -> None:
    """The record holds the digests, so that no part can be exchanged by itself."""
    table["replay"]["request"]["slope"] = "0.0 deg"
    table["notes"].append({"code": "mine", "message": "Added."})
    name = f"{part}_digest"
    table["replay"][name] = getattr(Digests.of(table), name)
    outcome = replayer.replay(table)
    assert edited_parts(outcome) == (part != "request", part != "reply", True)


def test_another_machine_or_a_member_added_is_told(
    replayer: Replayer, table: dict[str, Any]
) -> None:
    other, more = copy.deepcopy(table), table
    other["replay"]["made_with"]["machine"] = "abacus"
    more["replay"]["added"] = 1
    for reply in (other, more):
        assert edited_parts(replayer.replay(reply)) == (False, False, True)


@pytest.mark.parametrize(
    ("value", "now"),
    [(True, 1.0), (None, 1.0), ("1.0", 1.0), ({}, 1.0), ([1.0], 1.0)],
)
def test_another_kind_of_value_is_another_value(
    replayer: Replayer, table: dict[str, Any], value: Any, now: float
) -> None:
    table["air"]["relative_humidity"] = value
    (found,) = replayer.replay(sealed(table)).differences
    assert found.pointer.startswith("/air/relative_humidity")
    assert found.relative is None


def test_true_is_no_number(replayer: Replayer) -> None:
    """1 == True in Python, not in JSON."""
    reply = kept(replayer, "clearance")
    assert reply["obstacles"][0]["clear"] in (True, False)
    reply["obstacles"][0]["clear"] = int(reply["obstacles"][0]["clear"])
    (found,) = replayer.replay(sealed(reply)).differences
    assert found.pointer == "/obstacles/0/clear"


def test_a_member_or_row_too_few_or_too_many_is_found(
    replayer: Replayer, table: dict[str, Any]
) -> None:
    row = table["rows"].pop()
    del table["rows"][0]["drift"]
    table["no/te"] = 5
    found = {item.pointer: item for item in replayer.replay(sealed(table)).differences}
    assert set(found) == {"/rows/0/drift", f"/rows/{len(table['rows'])}", "/no~1te"}
    assert found["/rows/0/drift"].kept is ABSENT
    assert found[f"/rows/{len(table['rows'])}"].found == row
    assert found["/no~1te"].found is ABSENT


def test_other_versions_are_named_and_are_no_difference(
    replayer: Replayer, table: dict[str, Any]
) -> None:
    made_with = table["replay"]["made_with"]
    made_with["arrowloft"] = table["service"]["version"] = "0.0.9"
    made_with["models"][0] |= {"version": "7", "origin": "elsewhere 2"}
    del made_with["numpy"]
    outcome = replayer.replay(sealed(table))
    assert outcome.same
    versions = {name: (then, now) for name, then, now in outcome.versions}
    assert versions.pop("numpy")[0] == "unknown"
    model = f"drag model {made_with['models'][0]['name']}"
    assert versions == {
        "arrowloft": ("0.0.9", __version__),
        model: ("7", "1"),
        f"origin of {model}": ("elsewhere 2", f"arrowloft {__version__}"),
    }


def test_noise_in_estimates_of_error_is_told_apart(
    replayer: Replayer, table: dict[str, Any]
) -> None:
    table["solution"]["error_estimate"] *= 1.5
    outcome = replayer.replay(sealed(table))
    assert outcome.same
    assert [item.pointer for item in outcome.noise] == ["/solution/error_estimate"]


@pytest.mark.parametrize(
    ("kept", "noise"), [(0.02, True), (0.005, False), (50.0, True), (0.0, False), ("small", False)]
)
def test_an_error_that_grew_a_hundredfold_is_a_difference(
    replayer: Replayer, table: dict[str, Any], kept: Any, noise: bool
) -> None:
    """kept: as a share of the error estimated now; where it is smaller, the error grew."""
    now = table["solution"]["error_estimate"]
    assert now > 1e-10  # rounding alone would be noise in any case
    table["solution"]["error_estimate"] = kept * now if isinstance(kept, float) else kept
    outcome = replayer.replay(sealed(table))
    found = outcome.noise if noise else outcome.differences
    assert [item.pointer for item in found] == ["/solution/error_estimate"]
    assert outcome.same is noise


def test_an_error_of_rounding_alone_is_noise_from_nought_on() -> None:
    assert is_noise(Difference(pointer="/a", kept=0.0, found=1e-13))
    assert is_noise(Difference(pointer="/a", kept=1e-16, found=9e-11))
    assert not is_noise(Difference(pointer="/a", kept=1e-16, found=2e-10))


def test_a_count_of_iterations_is_noise(replayer: Replayer) -> None:
    reply = kept(replayer, "calibration")
    reply["fit"]["evaluations"] += 1
    outcome = replayer.replay(sealed(reply))
    assert outcome.same
    assert [item.pointer for item in outcome.noise] == ["/fit/evaluations"]


def broken(reply: dict[str, Any], way: str) -> dict[str, Any]:
    replay = reply["replay"]
    match way:
        case "no replay":
            del reply["replay"]
        case "a text for it":
            reply["replay"] = "yes"
        case "a digest too few":
            del replay["reply_digest"]
        case "no digest of the record":
            del replay["record_digest"]
        case "a list as request":
            replay["request"] = []
        case "no such path":
            replay["path"] = "/v1/nothing"
        case "a path to GET":
            replay["path"] = "/healthz"
        case "a path elsewhere":
            replay["path"] = "http://127.0.0.1:9/v1/mark-table"
        case "no such model":
            replay["request"]["drag"]["model"] = "wet-paint"
            replay["made_with"]["models"][0] |= {"name": "wet-paint", "origin": "paint 3"}
        case "no such model, unlisted":
            replay["request"]["drag"]["model"] = "wet-paint"
            replay["made_with"]["models"] = [None]
        case "a huge number":
            reply["gravity"] = 10**399
    return reply


BROKEN = {
    "no replay": "no member `replay`",
    "a text for it": "does not hold",
    "a digest too few": "does not hold",
    "no digest of the record": "does not hold",
    "a list as request": "does not hold",
    "no such path": "does not compute /v1/nothing",
    "a path to GET": "does not compute /healthz",
    "a path elsewhere": "no path",
    "no such model": "'wet-paint' (version 1, of paint 3) is not installed",
    "no such model, unlisted": '/drag/model: There is no drag model "wet-paint"',
    "a huge number": "too large",
}


@pytest.mark.parametrize("way", BROKEN)
def test_what_cannot_be_replayed_says_why(
    replayer: Replayer, table: dict[str, Any], way: str
) -> None:
    with pytest.raises(CannotReplay) as caught:
        replayer.replay(broken(table, way))
    assert BROKEN[way] in str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "(empty)"),
        (b"\xff", "not UTF-8"),
        (b"[1]", "no JSON object"),
        (b'{"a" 1}', "line 1, column 6 (Expecting ':' delimiter)"),
        (b'{"rows": [NaN]}', "NaN is no JSON number; at /rows/0"),
        (b'{"a": 1, "a": 2}', "twice; at /a"),
        (b"[" * 100_000, "nested"),
    ],
)
def test_what_is_no_reply_says_why(text: bytes, said: str) -> None:
    with pytest.raises(CannotReplay) as caught:
        read_reply(text)
    assert said in str(caught.value)


# The command: what it prints, and its exit status.


def files(folder: Path, **replies: Any) -> list[str]:
    for name, reply in replies.items():
        (folder / name).write_text(reply if isinstance(reply, str) else json.dumps(reply))
    return [str(folder / name) for name in replies]


def test_the_same(
    table: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command.main(["replay", *files(tmp_path, a=table)]) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"{tmp_path}/a: the same. Compared: ")
    assert out.count("\n") == 1


def test_a_difference(
    table: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table["rows"][1]["travel"] = 99
    assert command.main(["replay", *files(tmp_path, a=table)]) == 1
    verdict, edited, found = capsys.readouterr().out.splitlines()
    assert "a: differs in 1 number and 0 other values. Compared: " in verdict
    assert edited.strip().startswith("The reply was edited")
    assert found.strip().startswith("/rows/1/travel: 99 in the file, ")
    assert "relative difference 0.9" in found


def test_an_edited_record_is_told(
    table: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table["replay"]["made_with"]["models"][1]["version"] = "0"
    assert command.main(["replay", *files(tmp_path, a=table)]) == 1
    verdict, edited, *versions = capsys.readouterr().out.splitlines()
    assert "edited, though all values are the same" in verdict
    assert "The record of what made it, in `replay`, was edited" in edited
    assert versions[-1].endswith("launch model measured: 0 then, 1 now")


def test_a_stranger_s_file_does_not_steer_the_terminal(
    table: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table["evil\x1b[2J\nb: the same."] = 1
    table["replay"]["made_with"]["numpy"] = "\x1b[31m9"
    assert command.main(["replay", *files(tmp_path, a=table)]) == 1
    out = capsys.readouterr().out
    assert "\x1b" not in out and r"\x1b[2J\nb: the same." in out and r"\x1b[31m9" in out
    assert not [line for line in out.splitlines() if line.startswith("b:")]


def test_the_likely_reason(
    table: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table["rows"][1]["travel"] = 99
    table["replay"]["made_with"]["scipy"] = "1.2"
    command.main(["replay", *files(tmp_path, a=sealed(table))])
    out = capsys.readouterr().out
    assert "the likely reason" in out
    assert "    scipy: 1.2 then, " in out
    command.main(["replay", *files(tmp_path, a=table)])  # edited: that is the reason
    assert "likely reason" not in capsys.readouterr().out


def test_many_differences_are_cut_unless_asked_for(
    table: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table["replay"]["request"]["arrow"]["mass"] = "420 gr"
    names = files(tmp_path, a=table)
    assert command.main(["replay", *names]) == 1
    short = capsys.readouterr().out
    assert short.count(" in the file, ") <= 20 + short.count("_estimate")
    assert "more: --all lists them." in short
    assert command.main(["replay", "--all", *names]) == 1
    assert capsys.readouterr().out.count(" in the file, ") > 60


def test_each_file_has_its_verdict_and_the_worst_counts(
    table: dict[str, Any],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Piped:
        buffer = io.BytesIO(json.dumps(table).encode())

    monkeypatch.setattr("sys.stdin", Piped)
    edited = table | {"gravity": 9.9}
    names = files(tmp_path, none="{}", edited=edited)
    status = command.main(["replay", *names, str(tmp_path / "absent"), "-"])
    assert status == 2
    verdicts = [
        line.removeprefix(f"{tmp_path}/")
        for line in capsys.readouterr().out.splitlines()
        if not line.startswith(" ")
    ]
    assert verdicts[0].startswith("none: cannot be replayed. It has no member `replay`")
    assert verdicts[1].startswith("edited: differs in 1 number")
    assert verdicts[2].startswith("absent: cannot be replayed.")
    assert "No such file" in verdicts[2]
    assert verdicts[3].startswith("-: the same.")
    assert command.main(["replay", names[1]]) == 1


@pytest.mark.parametrize("tolerance", ["-1", "1", "nan", "much"])
def test_a_tolerance_that_is_none_is_refused(
    tolerance: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as caught:
        command.main(["replay", f"--tolerance={tolerance}", "file"])
    assert caught.value.code == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "--tolerance: give a number" in said
    assert said.endswith("such as 1e-12")
