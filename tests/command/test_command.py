"""`arrowloft ask`, `arrowloft models`, and the command as a process of its own."""

import io
import json
import subprocess
import sys
from importlib.metadata import entry_points
from pathlib import Path

import pytest
from strangers import Distribution, clean_environment, demo_request

from arrowloft import __version__, command
from arrowloft.api.resource import Limits
from arrowloft.plugin.registry import Origin, PluginFault, PluginFaults, Registry
from arrowloft.replay import LIMITS

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
TABLE = str(EXAMPLES / "mark-table.request.json")


def test_an_answer_goes_to_standard_output(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert command.main(["ask", "mark-table", TABLE]) == 0
    short = capfdbinary.readouterr().out
    assert command.main(["ask", "/v1/mark-table", TABLE]) == 0
    assert short == capfdbinary.readouterr().out
    assert short.endswith(b"}\n")
    assert len(json.loads(short)["rows"]) == 7
    assert "replay" not in json.loads(short)


class Terminal(io.TextIOWrapper):
    """Standard output where someone looks on."""

    def isatty(self) -> bool:
        return True


def test_people_read_json_over_many_lines(
    capfdbinary: pytest.CaptureFixture[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert command.main(["ask", "mark-table", TABLE]) == 0
    plain = capfdbinary.readouterr().out
    assert command.main(["ask", "mark-table", TABLE, "--indent"]) == 0
    indented = capfdbinary.readouterr().out
    assert plain.count(b"\n") == 1
    assert indented.startswith(b'{\n  "zero_distance": 20.0,\n  "rows": [\n    {\n')
    assert json.loads(indented) == json.loads(plain)
    seen = io.BytesIO()
    monkeypatch.setattr("sys.stdout", Terminal(seen))
    assert command.main(["ask", "mark-table", TABLE]) == 0
    assert seen.getvalue() == indented


def test_what_people_read_can_be_replayed(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    body = Path(TABLE).read_text().replace('"mass":', '"mass" : ')
    (tmp_path / "request").write_text(body)
    command.main(["ask", "mark-table", str(tmp_path / "request"), "--echo", "--indent"])
    (tmp_path / "reply").write_text(capfd.readouterr().out)
    assert command.main(["replay", "--tolerance=0", str(tmp_path / "reply")]) == 0


def test_digests_are_those_of_the_reply(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    command.main(["ask", "mark-table", TABLE, "--echo"])
    reply = tmp_path / "reply"
    reply.write_text(capfd.readouterr().out)
    assert command.main(["digest", TABLE, str(reply)]) == 0
    request, _, *parts = capfd.readouterr().out.splitlines()
    replay = json.loads(reply.read_text())["replay"]
    assert request == f"{replay['request_digest']}  {TABLE}"
    names = ("request_digest", "reply_digest", "record_digest")
    assert parts == [f"{replay[name]}  {reply} {name}" for name in names]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"[1]", "cannot be read as strict JSON (no JSON object)"),
        (b'{"a": 1' + b"0" * 330 + b"}", "has no digest: a number is too large"),
        (b"\xfe\xff\x00{\x00}", "is written in UTF-16; save it as UTF-8"),
    ],
)
def test_what_has_no_digest_says_why(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], text: bytes, said: str
) -> None:
    (tmp_path / "a").write_bytes(text)
    (tmp_path / "b").write_bytes(b'\xef\xbb\xbf{"a": 1.0}')
    assert command.main(["digest", str(tmp_path / "a"), str(tmp_path / "b")]) == 2
    out, err = capfd.readouterr()
    assert said in err
    # As `printf '{"a":1}' | sha256sum` prints it.
    assert out.startswith("sha256:015abd7f5cc57a2dd94b7590f04ad8084273905ee33ec5cebeae62276a97f862")


def test_a_byte_order_mark_is_no_part_of_the_request(
    tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    (tmp_path / "request").write_bytes(b"\xef\xbb\xbf" + Path(TABLE).read_bytes())
    assert command.main(["ask", "mark-table", str(tmp_path / "request")]) == 0
    (tmp_path / "request").write_bytes(Path(TABLE).read_text().encode("utf-16"))
    assert command.main(["ask", "mark-table", str(tmp_path / "request")]) == 2
    assert b"is written in UTF-16; save it as UTF-8." in capfdbinary.readouterr().err


# A model that prints wherever it can, and one that fails.
CHATTY = '''
    from dataclasses import dataclass
    from sys import stdout
    from arrowloft.plugin import *

    print("chatter: imported")

    @dataclass(frozen=True, kw_only=True)
    class Chatty(DragModel):
        """A drag area of 0.4 cm2."""

        name = "chatty"
        version = "1"
        sources = (Source("Invented for this test", "derived"),)
        default_uncertainty = 0.1

        def __post_init__(self):
            print("chatter: made", file=stdout)

        def drag_area(self, flow, arrow):
            print("chatter: asked")
            return 4e-5 + 0.0 * flow.airspeed

    @dataclass(frozen=True, kw_only=True)
    class Failing(Chatty):
        """Fails."""

        name = "failing"

        def drag_area(self, flow, arrow):
            raise KeyError("lost the table")
'''


@pytest.fixture
def strangers(tmp_path: Path) -> Path:
    """A folder of the path with both models installed, and requests that choose them."""
    points = {"chatty": "chatty_models:Chatty", "failing": "chatty_models:Failing"}
    Distribution("chatty", drag=points, modules={"chatty_models": CHATTY}).lay_down(tmp_path)
    for name in points:
        body = demo_request() | {"drag": {"model": name}}
        (tmp_path / f"{name}.json").write_text(json.dumps(body))
    return tmp_path


def test_what_models_print_spoils_no_reply(strangers: Path) -> None:
    asked = run("ask", "mark-table", str(strangers / "chatty.json"), "--echo", path=strangers)
    assert asked.returncode == 0
    assert json.loads(asked.stdout)["drag"]["model"] == "chatty"
    for part in (b"imported", b"made", b"asked"):
        assert b"chatter: " + part in asked.stderr
    replayed = run("replay", "-", text=asked.stdout, path=strangers)
    assert replayed.stdout.startswith(b"-: the same.")
    assert b"chatter" not in replayed.stdout
    assert b"chatter: asked" in replayed.stderr
    listed = run("models", path=strangers)
    assert b"chatter" not in listed.stdout
    assert b"drag    chatty " in listed.stdout
    assert b"chatter: imported" in listed.stderr


def test_a_model_s_author_is_sent_to_the_traceback(strangers: Path) -> None:
    asked = run("ask", "mark-table", str(strangers / "failing.json"), path=strangers)
    assert (asked.returncode, asked.stdout) == (1, b"")
    *log, said = asked.stderr.decode().splitlines()
    assert "KeyError: 'lost the table'" in log
    assert said == (
        "/v1/mark-table: A model failed. The model 'failing' failed: its traceback, on standard "
        "error, has the cause."
    )


def test_a_model_that_fails_in_a_replay_is_told_alike(strangers: Path) -> None:
    asked = run("ask", "mark-table", str(strangers / "chatty.json"), "--echo", path=strangers)
    module = strangers / "chatty_models.py"
    module.write_text(module.read_text().replace("return 4e-5", "return 1 / 0"))
    replayed = run("replay", "-", text=asked.stdout, path=strangers)
    assert replayed.returncode == 2
    assert b"The model 'chatty' failed: its traceback, on standard error, has" in replayed.stdout
    assert b"ZeroDivisionError" in replayed.stderr


def test_the_help_tells_the_limits_that_hold() -> None:
    told = " ".join(run("ask", "--help").stdout.decode().split())
    assert f"Limits: {LIMITS.seconds:g} s of time and a request of {LIMITS.body >> 20} MiB" in told
    served = Limits()
    assert f"a service allows {served.seconds:g} s and {served.body >> 10} KiB" in told
    assert "A problem goes to standard error" in told


@pytest.mark.parametrize("form", ["csv", "text/csv"])
def test_other_forms_come_as_they_are(form: str, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert command.main(["ask", "mark-table", TABLE, "--form", form]) == 0
    lines = capfdbinary.readouterr().out.split(b"\r\n")
    assert lines[0].startswith(b"distance (yd),")
    assert lines[-1] == b""
    assert len(lines) == 9


def test_a_picture_is_drawn(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    request = str(EXAMPLES / "overshoot.request.json")
    assert command.main(["ask", "overshoot", request, "--form", "svg"]) == 0
    assert capfdbinary.readouterr().out.rstrip().endswith(b"</svg>")


def test_what_was_asked_with_echo_can_be_replayed(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    assert command.main(["ask", "mark-table", TABLE, "--echo"]) == 0
    (tmp_path / "reply").write_text(capfd.readouterr().out)
    assert command.main(["replay", str(tmp_path / "reply")]) == 0


def test_a_problem_goes_to_standard_error(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    body = json.loads(Path(TABLE).read_text())
    body["arrow"]["mass"] = "-3 gr"
    del body["bow"]
    (tmp_path / "request").write_text(json.dumps(body))
    assert command.main(["ask", "mark-table", str(tmp_path / "request")]) == 1
    out, err = capfd.readouterr()
    assert out == ""
    first, *members = err.splitlines()
    assert first.startswith("/v1/mark-table: Members of the request are invalid. 2 members")
    assert members[0] == "  /bow: This member is needed: add it."
    assert members[1].startswith("  /arrow/mass: ")


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (["ask", "fti", TABLE], 2, "there is no computation 'fti'. Did you mean fit? There are: "),
        (["ask", "/v1/mark_table", TABLE], 2, "'/v1/mark_table'. Did you mean mark-table?"),
        (["ask", "zzz", TABLE], 2, "no computation 'zzz'. There are: arrow-check, balance, "),
        (["ask", "/healthz", TABLE], 2, "there is no computation '/healthz'. There are: "),
        (["ask", "models", TABLE], 2, "there is no computation 'models'."),
        (["ask", "mark-table?echo=true", TABLE], 2, "Did you mean mark-table?"),
        (["ask", "mark-table", "absent.json"], 2, "absent.json cannot be read: No such file"),
        (["ask", "mark-table", str(EXAMPLES)], 2, "cannot be read: Is a directory"),
        (["ask", "mark-table", TABLE, "--form", "stone"], 2, "give json, csv, svg"),
        (["ask", "trajectory", TABLE, "--form", "image/png"], 1, "None of the accepted forms"),
        (["ask", "mark-table", TABLE, "--form", "csv", "--echo"], 1, "leave echo out"),
    ],
)
def test_refusals(
    arguments: list[str], status: int, said: str, capfd: pytest.CaptureFixture[str]
) -> None:
    assert command.main(arguments) == status
    out, err = capfd.readouterr()
    assert out == ""
    assert said in err


def test_every_model_is_listed_with_its_first_sentence(capfd: pytest.CaptureFixture[str]) -> None:
    assert command.main(["models"]) == 0
    lines = capfd.readouterr().out.splitlines()
    registry = Registry.discover()
    listed = [tuple(line.split()[:2]) for line in lines]
    assert listed == [(kind, name) for kind in ("drag", "launch") for name in registry.names(kind)]
    (constant,) = [line for line in lines if line.split()[:2] == ["drag", "constant"]]
    assert f"  arrowloft {__version__}  One drag coefficient at all speeds" in constant
    assert all(line.endswith(".") for line in lines)


@pytest.mark.parametrize("arguments", [["models"], ["ask", "mark-table", TABLE]])
def test_models_with_faults_are_named(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    def faulty() -> Registry:
        raise PluginFaults([PluginFault(Origin("paint", "3"), "wet-paint", "has no sources")])

    monkeypatch.setattr(Registry, "discover", faulty)
    assert command.main(arguments) == 2
    assert "paint 3, wet-paint: has no sources" in capfd.readouterr().err


@pytest.mark.parametrize("arguments", [[], ["sing"], ["replay"], ["ask", "mark-table"]])
def test_what_is_no_command_is_told(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as caught:
        command.main(arguments)
    assert caught.value.code == 2
    assert "usage: arrowloft" in capsys.readouterr().err


def run(
    *arguments: str, text: bytes = b"", path: Path | None = None
) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "arrowloft.command", *arguments],
        input=text,
        env=clean_environment(*([] if path is None else [path])),
        capture_output=True,
        timeout=120,
        check=False,
    )


def test_as_a_process_of_its_own() -> None:
    """One process asks, another replays what it printed."""
    asked = run("ask", "mark-table", "-", "--echo", text=Path(TABLE).read_bytes())
    assert (asked.returncode, asked.stderr) == (0, b"")
    replayed = run("replay", "-", text=asked.stdout)
    assert (replayed.returncode, replayed.stderr) == (0, b"")
    assert replayed.stdout.startswith(b"-: the same.")
    edited = asked.stdout.replace(b'"gravity":9.', b'"gravity":8.')
    replayed = run("replay", "-", text=edited)
    assert replayed.returncode == 1
    assert b"  /gravity: 8." in replayed.stdout


def test_it_says_its_version_and_what_it_can_do() -> None:
    assert run("--version").stdout.strip() == f"arrowloft {__version__}".encode()
    told = run("--help").stdout
    assert all(name in told for name in (b"replay", b"ask", b"digest", b"models"))


def test_help_does_not_wait_for_the_service() -> None:
    code = (
        "import sys, arrowloft.command as command\n"
        "try: command.main(['--help'])\n"
        "except SystemExit: pass\n"
        "sys.exit(any(name in sys.modules for name in ('numpy', 'flask', 'arrowloft.app')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_it_is_the_script_that_the_distribution_names() -> None:
    (script,) = entry_points(group="console_scripts", name="arrowloft")
    assert script.load() is command.main
