"""Who may ask: keys, of which only digests are kept.

`ARROWLOFT_KEYS` and the file that `ARROWLOFT_KEYS_FILE` names hold lines as `operation.keys`
describes them. Where neither is set everyone may ask. A list without a key lets nobody in.
"""

from collections.abc import Callable, Sequence

from flask import Flask, Response, g, request

from arrowloft.api.problems import Problem, reply
from arrowloft.api.resource import is_keyed
from arrowloft.operation.key_file import KeyFile
from arrowloft.operation.keys import BadKeys, Entry, name_of, parsed
from arrowloft.operation.settings import PREFIX, BadSetting, Settings

CHALLENGE = 'Bearer realm="arrowloft"'
"""What a caller without a valid key is asked for (RFC 6750)."""

_Entries = Callable[[], Sequence[Entry]]


def install(app: Flask, settings: Settings) -> None:
    """Let only those ask who have a key, where keys are set.

    The name of the caller's key stands in `flask.g.key_name` from then on.
    Raises BadSetting, with every fault of both lists.
    """
    sources = _sources(settings)
    if not sources:
        return

    @app.before_request
    def asked() -> Response | None:
        # Browsers ask whether they may ask (CORS) without the key.
        if request.method == "OPTIONS" or not _keyed():
            return None
        return _checked([entry for source in sources for entry in source()])

    app.after_request(_private)


def _sources(settings: Settings) -> list[_Entries]:
    """What tells the valid keys, for each place where some are set."""
    sources: list[_Entries] = []
    faults: list[str] = []
    try:
        if settings.keys:
            entries = parsed(settings.keys, separated=True)
            sources.append(lambda: entries)
    except BadKeys as error:
        faults += [f"{PREFIX}KEYS: {fault}" for fault in error.faults]
    try:
        if settings.keys_file is not None:
            sources.append(KeyFile(settings.keys_file).entries)
    except BadKeys as error:
        faults += [f"{PREFIX}KEYS_FILE={settings.keys_file}: {fault}" for fault in error.faults]
    if faults:
        raise BadSetting("\n".join(faults))
    return sources


def _keyed() -> bool:
    """Whether the request needs a key.

    The route decides that will answer, not how its path is spelt; where none will, the path
    must not tell what there is.
    """
    return is_keyed(request.url_rule.rule if request.url_rule else request.path)


def _checked(entries: Sequence[Entry]) -> Response | None:
    """Keep the name of the caller's key; the refusal where there is no valid one."""
    given = request.authorization
    if given is None or given.type != "bearer" or not given.token:
        return _refusal("This service asks for a key: send it as Authorization: Bearer KEY.")
    name = name_of(given.token, entries)
    if name is None:
        return _refusal(
            "The key is not valid, or no longer: ask whoever runs this service for one that is.",
            ', error="invalid_token"',
        )
    g.key_name = name
    return None


def _refusal(detail: str, more: str = "") -> Response:
    return reply(Problem("key-required", detail), (("WWW-Authenticate", CHALLENGE + more),))


def _private(response: Response) -> Response:
    """A reply to who has a key is for no one else: no shared cache may keep it.

    A cache that did would answer callers without a key, and those whose key was taken back.
    """
    if "key_name" in g:
        response.vary.add("Authorization")
        if response.cache_control and not response.cache_control.no_store:
            response.cache_control.public = False
            response.cache_control.s_maxage = None
            response.cache_control.private = True
    return response
