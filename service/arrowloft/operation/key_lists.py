"""All places where keys are set, read together."""

from dataclasses import dataclass

from arrowloft.operation.key_file import KeyFile
from arrowloft.operation.keys import BadKeys, Entry, parsed
from arrowloft.operation.settings import PREFIX, BadSetting, Settings


@dataclass(frozen=True, kw_only=True)
class KeyLists:
    """The keys of `ARROWLOFT_KEYS`, which stay, and of the file, which may change."""

    fixed: tuple[Entry, ...] = ()
    file: KeyFile | None = None

    def entries(self) -> tuple[Entry, ...]:
        """The keys that are valid now."""
        return self.fixed + (self.file.entries() if self.file else ())

    def begin(self) -> None:
        """To be called in a new worker; see `KeyFile.begin`."""
        if self.file is not None:
            self.file.begin()

    @property
    def shut(self) -> bool:
        """Whether the file's keys are refused, as nobody knows which are valid."""
        return self.file is not None and self.file.shut


def key_lists(settings: Settings) -> KeyLists | None:
    """The lists that are set; None: everyone may ask.

    Raises BadSetting, with every fault of both.
    """
    fixed: tuple[Entry, ...] = ()
    file = None
    faults: list[str] = []
    try:
        fixed = parsed(settings.keys, separated=True)
    except BadKeys as error:
        faults += [f"{PREFIX}KEYS: {fault}" for fault in error.faults]
    try:
        file = KeyFile(settings.keys_file) if settings.keys_file is not None else None
    except BadKeys as error:
        faults += [f"{PREFIX}KEYS_FILE={settings.keys_file}: {fault}" for fault in error.faults]
    if faults:
        raise BadSetting("\n".join(faults))
    return KeyLists(fixed=fixed, file=file) if settings.keys or file else None
