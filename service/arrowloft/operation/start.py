"""What an operator is told at the start: which settings are in force, or why there is none."""

import logging
import logging.config
import sys
from collections.abc import Callable, Mapping
from dataclasses import asdict
from ipaddress import ip_address
from typing import Any, NoReturn

from arrowloft.api.resource import Limits
from arrowloft.operation.key_lists import KeyLists, key_lists
from arrowloft.operation.settings import FORMATS, PREFIX, BadSetting, Settings

_log = logging.getLogger(__name__)

InForce = tuple[Settings, KeyLists | None]
"""The settings, and the lists of keys, where there are any."""


def in_force(environment: Mapping[str, str]) -> InForce:
    """What the variables say; the process ends where that is wrong, see `refuse`."""
    try:
        return _read(environment)
    except BadSetting as error:
        refuse(error, environment)


def _read(environment: Mapping[str, str]) -> InForce:
    if "GUNICORN_CMD_ARGS" in environment:
        # They would pass by all that is looked at here, such as the address.
        raise BadSetting("GUNICORN_CMD_ARGS is set: settings are variables that begin ARROWLOFT_")
    settings = Settings.from_environment(environment)
    return settings, key_lists(settings)


def reloading(server: Any, environment: Mapping[str, str]) -> Callable[[], None]:
    """What this master is to call in place of gunicorn's `reload`.

    Where the settings are wrong by now, as a line of the file of keys is half written, there is
    no reload: it would end the service. Its workers hold the last good keys, too, which none that
    replaced them would know.
    """
    reload = server.reload

    def reload_where_it_can_be() -> None:
        try:
            _read(environment)
        except BadSetting as error:
            _log.error("no reload, everything goes on as it was: %s", _listed(error))
            return
        reload()

    return reload_where_it_can_be


def refuse(error: BadSetting, environment: Mapping[str, str]) -> NoReturn:
    """End the process with one record of the log, which has a line for each fault.

    As the settings are not to be had, the log's form is what the variable says of it.
    """
    from arrowloft.operation import request_log

    form = environment.get(f"{PREFIX}LOG_FORMAT", "").strip().lower()
    form = form if form in FORMATS else Settings.log_format
    logging.config.dictConfig(request_log.configuration(form, "info"))
    _log.critical("the service does not start: %s", _listed(error))
    sys.exit(1)


def _listed(error: BadSetting) -> str:
    """Its faults, one below the other."""
    return str(error).replace("\n", "\n  ")


def tell(settings: Settings, workers: int, keys: KeyLists | None) -> None:
    """Log the settings in force, without secrets; warn where they leave the service open."""
    _log.info("settings: %s", " ".join(_told(settings, workers, keys)))
    if keys is not None:
        return
    if not ip_address(settings.bind).is_loopback:
        _log.warning(
            "everyone who reaches %s may ask, without a key: nothing but a proxy that buffers "
            "may talk to this port",
            settings.bind,
        )
    elif settings.proxies:
        _log.warning("everyone who reaches the proxy in front may ask, without a key")


def _told(settings: Settings, workers: int, keys: KeyLists | None) -> list[str]:
    metrics = settings.metrics_port
    usual = asdict(Limits())
    return [
        f"bind={settings.bind} port={settings.port} workers={workers}",
        f"worker_requests={settings.worker_requests}",
        "keys=none, everyone may ask;" if keys is None else f"keys={len(keys.entries())}",
        f"origins={','.join(settings.origins) or 'none'}",
        f"proxies={settings.proxies} waiting={settings.waiting} max_age={settings.max_age}",
        f"metrics={'none' if metrics is None else f'{settings.metrics_bind} port {metrics}'}",
        *(
            f"limit_{name}={value}"
            for name, value in asdict(settings.limits).items()
            if value != usual[name]
        ),
    ]
