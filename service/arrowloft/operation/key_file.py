"""The file of keys: read again when it changes, so that keys are exchanged without a restart."""

import logging
from pathlib import Path

from arrowloft.operation.keys import BadKeys, Entry, parsed

_log = logging.getLogger(__name__)

_LARGEST = 256 * 1024
"""Bytes; far more than the most keys take."""

_Stamp = tuple[int, int, int, int]


class KeyFile:
    """The keys of a file, as it stands now.

    A file that turns unreadable or wrong keeps its last good keys, and is logged once by each
    process: a slip while exchanging a key must neither shut everyone out nor let anyone in.
    A worker that begins while the file is so has no last good keys of its own, and lets nobody
    in until the file is good again: what the process has read from which it was forked may be
    from before an exchange, and would make valid again a key that was taken back.
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
        self.shut = False

    def begin(self) -> None:
        """To be called in a new worker, which starts from the file alone.

        `shut` says from then on whether nobody is let in, as the file was never good here.
        """
        self._stamp, self._entries, self.shut, self._told = None, (), True, None
        self.entries()

    def entries(self) -> tuple[Entry, ...]:
        """The keys that are valid now."""
        try:
            if self._stamp_now() != self._stamp:
                self._stamp, content = self._read()
                self._entries = _parsed(content)
                self._told, begins, self.shut = None, self.shut, False
                level = logging.DEBUG if begins else logging.INFO
                _log.log(level, "the file of keys was read again: %d keys", len(self._entries))
        except OSError as error:
            # Back again it may be just as before: read anew, it ends what was told.
            self._stamp = None
            self._keep(_unreadable(error))
        except BadKeys as error:
            self._keep("; ".join(error.faults))
        return self._entries

    def _stamp_now(self) -> _Stamp:
        found = self.path.stat()
        return found.st_mtime_ns, found.st_ctime_ns, found.st_size, found.st_ino

    def _read(self) -> tuple[_Stamp, bytes]:
        """The stamp, then the content: what is written meanwhile is read again later."""
        stamp = self._stamp_now()
        with self.path.open("rb") as file:
            return stamp, file.read(_LARGEST + 1)

    def _keep(self, reason: str) -> None:
        if reason != self._told:
            what = "it lets nobody in" if self.shut else "its last good keys stay valid"
            _log.error("the file of keys is wrong, and %s: %s", what, reason)
        self._told = reason


def _parsed(content: bytes) -> tuple[Entry, ...]:
    if len(content) > _LARGEST:
        raise BadKeys([f"it has more than {_LARGEST} bytes"])
    return parsed(content.decode("utf-8", "replace"))


def _unreadable(error: OSError) -> str:
    return f"it cannot be read: {error.strerror or 'it is no file'}"
