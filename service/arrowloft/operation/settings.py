"""Everything an operator can set, read once from environment variables at the start."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from ipaddress import ip_address
from pathlib import Path
from typing import Any, TypeVar

from arrowloft.api.resource import WAITING, Limits
from arrowloft.api.wording import nearest

T = TypeVar("T")

PREFIX = "ARROWLOFT_"

FORMATS = ("json", "text")
"""Forms of the log."""

LEVELS = ("debug", "info", "warning", "error", "critical")
"""From the least to the most serious."""

OTHERS = ("PYTHON", "VENV", "EXPLORE", "FUZZ_EXAMPLES", "SWEEP", "SCREENSHOTS")
"""What the scripts of deploy/ and the tests read, and the service has no use for."""

_LINKS = re.compile(
    r"(\w+_)?SERVICE_(HOST|PORT(_\w+)?)|(\w+_)?PORT_[0-9]+_(TCP|UDP)(_(ADDR|PORT|PROTO))?"
)
"""What a cluster sets in every container where some service of it is called arrowloft."""

_WHOLE = re.compile(r"[0-9]{1,12}")
_NUMBER = re.compile(r"[0-9]{1,12}(\.[0-9]{1,6})?")
_ORIGIN = re.compile(
    r"https?://[A-Za-z0-9.-]+(:[0-9]{1,5})?|https?://\[[0-9a-fA-F:]+\](:[0-9]{1,5})?"
)
_MOST = {"depth": 200, "digits": 4000}
"""Limits that Python's own reading of JSON bounds."""
_HUGE = 10**12
_HOPS = 5
"""Most proxies in a row; more is a slip of the keyboard."""


class BadSetting(ValueError):
    """Variables that cannot be understood; the message has a line for each."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How the service is operated.

    limits: what one request may ask for; `ARROWLOFT_LIMIT_BODY` and so on, by field.
    keys, keys_file: keys that may ask, as `operation.access` describes them; none: everyone.
    origins: origins whose pages may read replies (CORS).
    proxies: how many proxies in front are trusted to say who asks.
    waiting: most requests that wait for a worker before others are turned away.
    max_age: how long a reply may be kept by those who asked, s.
    metrics_port, metrics_bind: where metrics are served; without a port nothing is counted.
    bind, port: where requests are taken.
    workers: processes that answer; None: as the machine has cores.
    worker_requests: after which a worker is replaced; 0: never.
    log_format, log_level: one of FORMATS, and of LEVELS.
    """

    limits: Limits = field(default_factory=Limits)
    keys: str = ""
    keys_file: Path | None = None
    origins: tuple[str, ...] = ()
    proxies: int = 0
    waiting: int = WAITING
    max_age: int = 3600
    metrics_port: int | None = None
    metrics_bind: str = "127.0.0.1"
    bind: str = "127.0.0.1"
    port: int = 8080
    workers: int | None = None
    worker_requests: int = 20_000
    log_format: str = "json"
    log_level: str = "info"

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> "Settings":
        """The settings that these variables make; what is not set, or to nothing, is the default.

        Raises BadSetting, which names every variable at fault, and those that nobody reads: a
        slip in a name must not leave open what was to be shut.
        """
        reader = _Reader(environment)
        found = cls(
            limits=_limits(reader),
            keys=reader.get("KEYS", str, ""),
            keys_file=reader.get("KEYS_FILE", Path, None),
            origins=reader.get("ORIGINS", _origins, ()),
            proxies=reader.get("PROXIES", _up_to(_HOPS), 0),
            waiting=reader.get("WAITING", _whole, cls.waiting),
            max_age=reader.get("MAX_AGE", _whole, cls.max_age),
            metrics_port=reader.get("METRICS_PORT", _port, None),
            metrics_bind=reader.get("METRICS_BIND", _address, cls.metrics_bind),
            bind=reader.get("BIND", _address, cls.bind),
            port=reader.get("PORT", _port, cls.port),
            workers=reader.get("WORKERS", _up_to(999, _positive), None),
            worker_requests=reader.get("WORKER_REQUESTS", _up_to(10**9), cls.worker_requests),
            log_format=reader.get("LOG_FORMAT", _one_of(FORMATS), cls.log_format),
            log_level=reader.get("LOG_LEVEL", _one_of(LEVELS), cls.log_level),
        )
        reader.finish()
        return found


class _Reader:
    """Reads variables, and gathers what is wrong with them."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        self.environment = environment
        self.read: list[str] = []
        self.faults: list[str] = []

    def get(self, name: str, convert: Callable[[str], T], default: Any) -> Any:
        self.read.append(PREFIX + name)
        text = self.environment.get(PREFIX + name, "").strip()
        if not text:
            return default
        try:
            return convert(text)
        except ValueError as error:
            self.faults.append(f"{PREFIX}{name}={text} is {error}")
            return default

    def finish(self) -> None:
        # Without its value: it may be a key.
        self.faults += [f"{name} is no setting; {self._meant(name)}" for name in self._unread()]
        if self.faults:
            raise BadSetting("\n".join(self.faults))

    def _unread(self) -> list[str]:
        known = {*self.read, *(PREFIX + name for name in OTHERS)}
        return [
            name
            for name in sorted(self.environment)
            if name.upper().startswith(PREFIX)
            and name not in known
            and not _LINKS.fullmatch(name[len(PREFIX) :])
        ]

    def _meant(self, name: str) -> str:
        # They all begin alike, by which any two would look alike.
        short = [known.removeprefix(PREFIX) for known in self.read]
        hint = nearest(name[len(PREFIX) :].upper(), short)
        return re.sub(r"\b[A-Z][A-Z_]+\b", rf"{PREFIX}\g<0>", hint)


def _limits(reader: _Reader) -> Limits:
    default = Limits()
    given = {}
    for item in fields(Limits):
        usual = getattr(default, item.name)
        whole = _up_to(_MOST.get(item.name, _HUGE), _positive)
        convert = whole if isinstance(usual, int) else _positive_seconds
        given[item.name] = reader.get(f"LIMIT_{item.name.upper()}", convert, usual)
    return replace(default, **given)


def _whole(text: str) -> int:
    if not _WHOLE.fullmatch(text):
        raise ValueError("not a whole number")
    return int(text)


def _port(text: str) -> int:
    value = _whole(text)
    if not 1 <= value <= 65535:
        raise ValueError("not a port, a whole number from 1 to 65535")
    return value


def _address(text: str) -> str:
    try:
        return str(ip_address(text))
    except ValueError:
        raise ValueError("not an address such as 127.0.0.1, 0.0.0.0 or ::") from None


def _positive(text: str) -> int:
    value = _whole(text)
    if value < 1:
        raise ValueError("not a whole number from 1 on")
    return value


def _positive_seconds(text: str) -> float:
    if not _NUMBER.fullmatch(text) or float(text) <= 0.0:
        raise ValueError("not a number above 0, such as 5 or 0.5")
    return float(text)


def _up_to(most: int, read: Callable[[str], int] = _whole) -> Callable[[str], int]:
    def convert(text: str) -> int:
        value = read(text)
        if value > most:
            raise ValueError(f"more than {most}")
        return value

    return convert


def _one_of(known: tuple[str, ...]) -> Callable[[str], str]:
    def convert(text: str) -> str:
        if text.lower() not in known:
            raise ValueError(f"none of {', '.join(known)}")
        return text.lower()

    return convert


def _origins(text: str) -> tuple[str, ...]:
    names = tuple(text.replace(",", " ").split())
    for name in names:
        if not _ORIGIN.fullmatch(name):
            raise ValueError(
                f"not a list of origins: {name!r} is none; write https://app.example, without a "
                "path and without *"
            )
    return names
