"""Writes the list of the runtime's licences, or checks it against the lock and our policy.

Exit codes: 0 written or in order, 1 not (a line on stderr for each fault).
"""

import argparse
import json
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pins import versions

ALLOWED = frozenset(
    {
        # Permissive: they ask for their text and the authors' names to go with every copy.
        "0BSD",
        "Apache Software License",
        "Apache-2.0",
        "BSD License",
        "BSD-2-Clause",
        "BSD-3-Clause",
        "CC0-1.0",
        "ISC",
        "MIT",
        "MIT License",
        "MIT-CMU",
        "PSF-2.0",
        "Python Software Foundation License",
        "Zlib",
        # Copyleft for its own files alone: we ship them unchanged, and their source is public.
        "MPL-2.0",
        "Mozilla Public License 2.0 (MPL 2.0)",
    }
)
"""Licences that we ship with, as SPDX names them and as older metadata does.

The GPL and AGPL would reach our own code, the LGPL asks for more than a list: none is here,
and a dependency that brings one needs a decision first.
"""

HEAD = """# Licences of what the service runs with

Written by `deploy/lock`: each package of `deploy/requirements.lock`, with the licence that its
metadata declares. Where there are two versions, one is for older Pythons. Wheels with compiled
code bring libraries under licences of their own, among them the GCC runtime library under the GPL
with its exception for such use; their texts lie in the wheel beside the package's own. Who passes
the packages on, as in a container image, leaves those texts in their place.

| package | versions | licence | source |
|---|---|---|---|
"""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One package of the list."""

    name: str
    versions: str
    licence: str
    source: str


def main() -> int:
    """Write the list, or check it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare, write nothing")
    parser.add_argument("lock", type=Path)
    parser.add_argument("list", type=Path)
    arguments = parser.parse_args()
    locked = versions(arguments.lock)
    installed = _installed(locked)
    faults = list(_not_installed(locked, installed)) + list(_not_allowed(installed.values()))
    if arguments.check:
        listed = {row.name: row for row in _read(arguments.list)}
        faults += [*_differing(listed, installed), *_not_allowed(listed.values())]
    elif not faults:
        arguments.list.write_text(HEAD + "".join(map(_line, installed.values())), encoding="utf-8")
    for fault in sorted(set(faults)):
        print(f"arrowloft: {fault}", file=sys.stderr)
    return 1 if faults else 0


def _installed(locked: Mapping[str, Sequence[str]]) -> dict[str, Row]:
    """What pip-licenses finds in this environment of the locked packages, by name."""
    options = ["--format=json", "--from=mixed", "--with-urls", "--with-system"]
    said = subprocess.run(
        [sys.executable, "-P", "-m", "piplicenses", *options, "--packages", *locked],
        stdout=subprocess.PIPE,
        check=True,
    ).stdout
    found = {}
    for package in json.loads(said):
        name = re.sub(r"[-_.]+", "-", package["Name"]).lower()
        if package["Version"] in locked[name]:
            found[name] = Row(
                name=name,
                versions=", ".join(locked[name]),
                licence=package["License"],
                source=package["URL"],
            )
    return dict(sorted(found.items()))


def _not_installed(
    locked: Mapping[str, Sequence[str]], installed: Mapping[str, Row]
) -> Iterator[str]:
    for name in locked.keys() - installed.keys():
        yield f"{name} {' or '.join(locked[name])} is locked, but not what is installed here"


def _not_allowed(rows: Iterable[Row]) -> Iterator[str]:
    for row in rows:
        unknown = sorted(set(_terms(row.licence)) - ALLOWED)
        if unknown:
            yield f"{row.name}: no policy lets us ship with {', '.join(unknown)}"


def _terms(licence: str) -> list[str]:
    """The licences that an expression names: all of them must do, whichever is chosen."""
    if licence in ALLOWED:
        return [licence]
    parts = re.split(r";|\bAND\b|\bOR\b", licence)
    return [part if part in ALLOWED else part.strip("() ") for part in map(str.strip, parts)]


def _differing(listed: Mapping[str, Row], installed: Mapping[str, Row]) -> Iterator[str]:
    for name in listed.keys() | installed.keys():
        ours, theirs = listed.get(name), installed.get(name)
        # Of two versions only one is installed here, and only one was where the list was written.
        told = ours and theirs and "," in theirs.versions and ours.versions == theirs.versions
        if ours != theirs and not told:
            yield f"{name}: the list of licences is not up to date; write it with deploy/lock"


def _line(row: Row) -> str:
    return f"| {row.name} | {row.versions} | {row.licence} | {row.source} |\n"


def _read(listed: Path) -> Iterator[Row]:
    for line in listed.read_text(encoding="utf-8").partition("|---|\n")[2].splitlines():
        name, number, licence, source = (cell.strip() for cell in line.strip("| ").split(" | "))
        yield Row(name=name, versions=number, licence=licence, source=source)


if __name__ == "__main__":
    sys.exit(main())
