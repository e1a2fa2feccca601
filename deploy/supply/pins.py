"""Reads what a lock pins."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

_PIN = re.compile(r"^(?P<name>[a-z0-9-]+)==(?P<version>[^\s;\\]+)")


@dataclass(frozen=True, kw_only=True)
class Pin:
    """One entry of a lock: a name, a version, and the digests of its files."""

    name: str
    version: str
    hashes: Sequence[str]


def pins(lock: Path) -> Iterator[Pin]:
    """Every entry of a lock, whichever Python or platform it is for."""
    for block in re.split(r"\n(?=[a-z0-9])", lock.read_text(encoding="utf-8")):
        if found := _PIN.match(block):
            hashes = re.findall(r"--hash=(sha256:[0-9a-f]{64})", block)
            yield Pin(name=found["name"], version=found["version"], hashes=hashes)


def versions(lock: Path) -> Mapping[str, Sequence[str]]:
    """Name -> its versions: a few packages have one for older and one for newer Pythons."""
    found: dict[str, list[str]] = {}
    for pin in pins(lock):
        found.setdefault(pin.name, []).append(pin.version)
    return found
