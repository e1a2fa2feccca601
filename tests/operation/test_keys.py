"""Lists of keys, the file of them, and how a key is made."""

import io
import logging
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
import requests
from strangers import clean_environment

from arrowloft import command
from arrowloft.client import Client
from arrowloft.operation import keys
from arrowloft.operation.key_file import KeyFile
from arrowloft.operation.keys import BadKeys, Entry, fresh, name_of, parsed

CLUB, GUEST = fresh("club"), fresh("guest")
WRONG = fresh("stranger").key


def test_a_list_says_what_it_holds() -> None:
    text = f"\ufeff# who may ask\r\n\n {CLUB.line}  # the club's\r\n\t{GUEST.line.upper()}\n"
    text = text.replace("SHA256", "sha256")
    assert [one.name for one in parsed(text)] == ["club", "GUEST"]
    assert name_of(GUEST.key, parsed(text)) == "GUEST"
    both = parsed(f"{CLUB.line},{GUEST.line};;\n# more\n{fresh('club').line}", separated=True)
    assert [one.name for one in both] == ["club", "guest", "club"]
    assert parsed("") == parsed("# none\n") == ()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("club", "a line is a name and the digest"),
        (f"club {CLUB.key}", "seems to hold a key itself"),
        (f"club sha256:{CLUB.key}", "seems to hold a key itself"),
        (CLUB.line[:-1], "a line is"),
        (CLUB.line + "0", "a line is"),
        (CLUB.line.replace("sha256", "md5"), "a line is"),
        (CLUB.line.partition(" ")[2], "a line is"),
        (f"two words {CLUB.line}", "a line is"),
        (f"-x{CLUB.line}", "a line is"),
        (f"{'x' * 65}{CLUB.line[4:]}", "a line is"),
        (f"{GUEST.line},{CLUB.line}", "a line is"),
        (GUEST.line, "has the key of line 2 again"),
        (f"other{GUEST.line[5:]}", "has the key of line 2 again"),
    ],
    # By place: keys are new each time, and all processes must know the same tests.
    ids=range(13),
)
def test_a_wrong_line_is_named_and_not_repeated(line: str, words: str) -> None:
    with pytest.raises(BadKeys) as refusal:
        parsed(f"# list\n{GUEST.line}\n\n{line}\nbad\n")
    first, second = refusal.value.faults
    assert first.startswith("line 4") and words in first
    assert second.startswith("line 5")
    told = str(refusal.value)
    for secret in (CLUB.key, CLUB.line[-64:-10], GUEST.line[-64:-10]):
        assert secret not in told


def test_there_may_not_be_any_number_of_keys(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keys, "MOST", 1)
    with pytest.raises(BadKeys, match="2 keys, and at most 1"):
        parsed(f"{CLUB.line}\n{GUEST.line}")


def test_a_key_is_compared_with_all_whatever_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[tuple[bytes, bytes]] = []

    def compare(one: bytes, other: bytes) -> bool:
        compared.append((one, other))
        return one == other

    monkeypatch.setattr("hmac.compare_digest", compare)
    entries = parsed("\n".join(fresh(f"k{at}").line for at in range(3)) + f"\n{CLUB.line}")
    entries = (entries[3], *entries[:3])
    for key in (CLUB.key, WRONG, "", "\udcff"):
        compared.clear()
        name_of(key, entries)
        assert [one for one, _ in compared] == [entry.digest for entry in entries]
        assert {len(other) for _, other in compared} == {32}


def written(path: Path, *lines: str) -> None:
    """Put the lines in place of the file, as a rotation does; the stamp is another."""
    new = path.with_suffix(".new")
    new.write_text("\n".join(lines))
    new.replace(path)


def test_a_file_that_goes_wrong_keeps_its_last_good_keys(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "keys"
    path.write_text(CLUB.line)
    file = KeyFile(path)

    def names() -> list[str]:
        return [entry.name for _ in range(3) for entry in file.entries()][:1]

    def logged() -> list[str]:
        said = [one.message for one in caplog.records if one.levelno >= logging.ERROR]
        caplog.clear()
        return said

    written(path, GUEST.line, f"club {CLUB.key}")
    assert names() == ["club"]
    (message,) = logged()
    assert "line 2" in message and CLUB.key not in message
    path.unlink()
    assert names() == ["club"]
    (message,) = logged()
    assert "No such file" in message
    written(path, GUEST.line)
    assert names() == ["guest"] and logged() == []
    # Readable again with the same stamp: as after a change of rights.
    written(path, CLUB.line)
    denied = pytest.MonkeyPatch()
    denied.setattr(Path, "open", _denied)
    assert names() == ["guest"]
    denied.undo()
    assert len(logged()) == 1
    assert names() == ["club"]
    # Away and back, the same file: each time it goes is told.
    for _ in range(2):
        path.rename(tmp_path / "aside")
        assert names() == ["club"] and len(logged()) == 1
        (tmp_path / "aside").rename(path)
        assert names() == ["club"] and logged() == []
    path.write_text("#" * 300_000)
    assert names() == ["club"] and "bytes" in logged()[0]


def _denied(*_: object, **__: object) -> None:
    raise PermissionError(13, "Permission denied")


def test_a_file_that_stays_is_not_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "keys"
    path.write_text(CLUB.line)
    file = KeyFile(path)
    monkeypatch.setattr(Path, "open", _denied)
    assert file.entries() == (Entry(name="club", digest=keys.digest_of(CLUB.key)),)


def command_lines(arguments: Sequence[str]) -> tuple[str, str]:
    done = subprocess.run(
        [sys.executable, "-m", "arrowloft.command", *arguments],
        env=clean_environment(),
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    key, line = done.stdout.splitlines()
    assert key not in done.stderr and line not in done.stderr
    return key, line


def test_the_command_makes_a_key_that_is_let_in() -> None:
    key, line = command_lines(["key", "north.range-2"])
    assert key.startswith("al_") and len(key) == 46 and key not in line
    assert line.startswith("north.range-2 sha256:")
    assert name_of(key, parsed(line)) == "north.range-2"
    assert command_lines(["key", "north.range-2"])[0] != key


@pytest.mark.parametrize("name", ["", "a b", "#a", "a,b", "x" * 65, "-", "a:b", "é"])
def test_a_name_that_no_list_can_hold_makes_no_key(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command.main(["key", "--", name]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "64 at most" in said.err


class Answering(requests.adapters.HTTPAdapter):
    """Answers without a network, and keeps what it was asked."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[requests.PreparedRequest] = []

    def send(self, request: requests.PreparedRequest, *_: Any, **__: Any) -> requests.Response:
        self.asked.append(request)
        reply = requests.Response()
        reply.status_code, reply.raw = 200, io.BytesIO(b"{}")
        reply.headers["Content-Type"] = "application/json"
        return reply


def test_the_client_sends_its_key_whatever_its_session_would() -> None:
    answering, session = Answering(), requests.Session()
    session.mount("http://", answering)
    session.auth = ("other", "other")
    client = Client("http://127.0.0.1:1", session=session, key=CLUB.key)
    client.units()
    client.mark_table({})
    sent = [one.headers["Authorization"] for one in answering.asked]
    assert sent == [f"Bearer {CLUB.key}"] * 2
    assert all(CLUB.key not in str(one.url) for one in answering.asked)


@pytest.mark.parametrize("key", ["", " ", "two words", "secret\n", "secr\xe9t"])
def test_the_client_takes_no_key_that_cannot_be_sent(key: str) -> None:
    with pytest.raises(ValueError, match="the key holds characters") as refusal:
        Client(key=key)
    assert "secr" not in str(refusal.value)
