"""The list of licences is that of the lock, and holds none that we may not ship with."""

from pathlib import Path

from strangers import ROOT
from supplied import LOCK, tool

LISTED = ROOT / "deploy" / "licences.md"


def test_the_list_is_up_to_date_and_allowed() -> None:
    assert tool("licences", "--check", LOCK, LISTED) == ""


CHANGES = {
    # line -> changed, and what is told of it
    "| flask | 3.1.3 |": ("| flask | 3.1.2 |", "flask: the list of licences is not up to date"),
    "| blinker | ": ("| blonker | ", "blonker: the list of licences is not up to date"),
    "| BSD-2-Clause |": ("| LGPL-3.0 |", "no policy lets us ship with LGPL-3.0"),
    "(Apache-2.0 OR MIT)": ("(GPL-2.0 OR MIT)", "no policy lets us ship with GPL-2.0"),
    "| PSF-2.0 |": ("| UNKNOWN |", "no policy lets us ship with UNKNOWN"),
}


def test_a_list_that_is_not(tmp_path: Path) -> None:
    text = LISTED.read_text(encoding="utf-8")
    for line, (changed, _) in CHANGES.items():
        assert line in text
        text = text.replace(line, changed)
    other = tmp_path / "licences.md"
    other.write_text(text, encoding="utf-8")
    told = tool("licences", "--check", LOCK, other, code=1)
    assert [line for _, line in CHANGES.values() if line not in told] == []
    assert "blinker: the list" in told and "click" not in told


def test_what_is_locked_and_not_installed_is_told(tmp_path: Path) -> None:
    lock = tmp_path / "requirements.lock"
    lock.write_text(LOCK.read_text(encoding="utf-8").replace("segno==1", "segno==0"))
    other = tmp_path / "licences.md"
    assert "segno 0.6.6 is locked, but not" in tool("licences", lock, other, code=1)
    assert not other.exists()
