"""The file of keys: read again when it changes, so that keys are exchanged without a restart."""

import logging
from pathlib import Path

from arrowloft.operation.keys import BadKeys, Entry, parsed

_log = logging.getLogger(__name__)

_LARGEST = 256 * 1024
"""Bytes; far more than the most keys take."""

_Stamp = tuple[int, int, int]


class KeyFile:
    """The keys of a file, as it stands now.

    A file that turns unreadable or wrong keeps its last good keys, and is logged once by each
    process: a slip while exchanging a key must neither shut everyone out nor let anyone in.
    """

    def __init__(self, path: Path) -> None:
        """Read it; raises BadKeys where that cannot be done."""
        self.path = path
        self._told: str | None = None
        self._stamp: _Stamp | None = None
        try:
            self._stamp, content = self._read()
        except OSError as error:
            raise BadKeys([_unreadable(error)]) from None
        self._entries = _parsed(content)

    def entries(self) -> tuple[Entry, ...]:
        """The keys that are valid now."""
        try:
            if self._stamp_now() != self._stamp:
                self._stamp, content = self._read()
                self._entries = _parsed(content)
                self._told = None
                _log.info("the file of keys was read again: %d keys", len(self._entries))
        except OSError as error:
            # Back again it may be just as before: read anew, it ends what was told.
            self._stamp = None
            self._keep(_unreadable(error))
        except BadKeys as error:
            self._keep("; ".join(error.faults))
        return self._entries

    def _stamp_now(self) -> _Stamp:
        found = self.path.stat()
        return found.st_mtime_ns, found.st_size, found.st_ino

    def _read(self) -> tuple[_Stamp, bytes]:
        """The stamp, then the content: what is written meanwhile is read again later."""
        stamp = self._stamp_now()
        with self.path.open("rb") as file:
            return stamp, file.read(_LARGEST + 1)

    def _keep(self, reason: str) -> None:
        if reason != self._told:
            _log.error("the file of keys is wrong, and its last good keys stay valid: %s", reason)
        self._told = reason


def _parsed(content: bytes) -> tuple[Entry, ...]:
    if len(content) > _LARGEST:
        raise BadKeys([f"it has more than {_LARGEST} bytes"])
    return parsed(content.decode("utf-8", "replace"))


def _unreadable(error: OSError) -> str:
    return f"it cannot be read: {error.strerror or 'it is no file'}"
