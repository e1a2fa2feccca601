"""Keys: how one is made, and how lists of their digests are written.

A key is 256 random bits, so nobody finds it by trying, however fast: one round of SHA-256
hides it as well as a slow hash hides a password, and costs a request a microsecond.
"""

import hmac
import re
import secrets
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256

PREFIX = "al_"
"""What a key begins with, so that people and scanners know one where it should not be."""

MOST = 1000
"""Most keys in one list: every request is compared with all of them."""

_BYTES = 32
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_ENTRY = re.compile(rf"({_NAME.pattern})\s+sha256:([0-9a-fA-F]{{64}})")
_SEPARATORS = re.compile(r"[,;]")
_FORM = "a line is a name and the digest of its key, as `arrowloft key NAME` prints it"


class BadKeys(ValueError):
    """A list that cannot be understood; `faults` has a sentence for each line at fault.

    No sentence repeats what the line holds: it may be a key.
    """

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One key that is valid: whose it is, and its SHA-256."""

    name: str
    digest: bytes


@dataclass(frozen=True, kw_only=True)
class Fresh:
    """A new key, and the line that makes it valid."""

    key: str
    line: str


def fresh(name: str) -> Fresh:
    """A new key of this name; raises ValueError where a list cannot hold the name."""
    if not _NAME.fullmatch(name):
        raise ValueError(
            "A name is made of letters, digits, dots, hyphens and underscores, 64 at most, and "
            "begins with a letter or digit."
        )
    key = PREFIX + secrets.token_urlsafe(_BYTES)
    return Fresh(key=key, line=f"{name} sha256:{digest_of(key).hex()}")


def digest_of(key: str) -> bytes:
    """The SHA-256 of a key."""
    return sha256(key.encode("utf-8", "replace")).digest()


def name_of(key: str, entries: Sequence[Entry]) -> str | None:
    """Whose key this is; None where it is nobody's.

    It is compared with every entry, and each time in full: how long that takes tells nothing.
    """
    digest = digest_of(key)
    found = None
    for entry in entries:
        if hmac.compare_digest(entry.digest, digest):
            found = entry.name
    return found


def parsed(text: str, *, separated: bool = False) -> tuple[Entry, ...]:
    """The entries of a list: `name sha256:<64 hex digits>` a line, comments after #.

    Two keys may have one name, so that both are valid while one is exchanged for the other.
    separated: commas and semicolons part entries too, as a variable holds them.
    Raises BadKeys, with every fault.
    """
    entries: list[Entry] = []
    faults: list[str] = []
    lines: dict[bytes, int] = {}
    for number, item in _items(text, separated):
        found = _ENTRY.fullmatch(item)
        if found is None:
            faults.append(f"line {number}: {_fault(item)}")
            continue
        entry = Entry(name=found[1], digest=bytes.fromhex(found[2]))
        if entry.digest in lines:
            faults.append(f"line {number} has the key of line {lines[entry.digest]} again")
        lines.setdefault(entry.digest, number)
        entries.append(entry)
    if len(entries) > MOST:
        faults.append(f"there are {len(entries)} keys, and at most {MOST} may be")
    if faults:
        raise BadKeys(faults)
    return tuple(entries)


def _items(text: str, separated: bool) -> Iterator[tuple[int, str]]:
    """Number of the line, and what stands there."""
    for number, line in enumerate(text.removeprefix("\ufeff").split("\n"), 1):
        told = line.partition("#")[0]
        for item in _SEPARATORS.split(told) if separated else (told,):
            if item.strip():
                yield number, item.strip()


def _fault(item: str) -> str:
    if PREFIX in item:
        return f"it seems to hold a key itself, not its digest; {_FORM}"
    return _FORM
