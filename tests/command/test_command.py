"""`arrowloft ask`, `arrowloft models`, and the command as a process of its own."""

import json
import subprocess
import sys
from importlib.metadata import entry_points
from pathlib import Path

import pytest

from arrowloft import __version__, command
from arrowloft.plugin.registry import Origin, PluginFault, PluginFaults, Registry

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
        (["ask", "nothing", TABLE], 1, "There is nothing here"),
        (["ask", "/healthz", TABLE], 1, "does not answer this method"),
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


def run(*arguments: str, text: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "arrowloft.command", *arguments],
        input=text,
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
    assert all(name in told for name in (b"replay", b"ask", b"models"))


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
