"""Who may ask: keys, of which only digests are kept.

`ARROWLOFT_KEYS` and the file that `ARROWLOFT_KEYS_FILE` names hold lines as `operation.keys`
describes them. Where neither is set everyone may ask. A list without a key lets nobody in.
"""

from flask import Flask, Response, g, request

from arrowloft.api.problems import Problem, reply
from arrowloft.api.resource import is_keyed
from arrowloft.operation.key_lists import KeyLists, key_lists
from arrowloft.operation.keys import name_of
from arrowloft.operation.settings import Settings

CHALLENGE = 'Bearer realm="arrowloft"'
"""What a caller without a valid key is asked for (RFC 6750)."""

_BLANKS = " \t"
"""What may stand around a header's value (RFC 9110), and no other blank of Unicode's: the proxy
would count a key with one as another key, with a rate of its own."""

EXTENSION = "arrowloft-keys"
"""Key of the app's extensions under which its lists are kept, where it has some."""


def install(app: Flask, settings: Settings) -> None:
    """Let only those ask who have a key, where keys are set.

    The name of the caller's key stands in `flask.g.key_name` from then on.
    Raises BadSetting, with every fault of both lists.
    """
    lists = key_lists(settings)
    if lists is None:
        return
    app.extensions[EXTENSION] = lists

    @app.before_request
    def asked() -> Response | None:
        # Browsers ask whether they may ask (CORS) without the key.
        if request.method == "OPTIONS" or not _keyed():
            return None
        return _checked(lists)

    app.after_request(_private)


def forked(app: Flask) -> None:
    """Let a worker that has just been forked start from the lists as they stand now."""
    lists: KeyLists | None = app.extensions.get(EXTENSION)
    if lists is not None:
        lists.begin()


def _keyed() -> bool:
    """Whether the request needs a key.

    The route decides that will answer, not how its path is spelt; where none will, the path
    must not tell what there is.
    """
    return is_keyed(request.url_rule.rule if request.url_rule else request.path)


def _checked(lists: KeyLists) -> Response | None:
    """Keep the name of the caller's key; the refusal where there is no valid one."""
    # Not by Werkzeug's parser of it, which fails on some of what may come.
    scheme, _, given = request.headers.get("Authorization", "").strip(_BLANKS).partition(" ")
    token = given.strip(_BLANKS)
    # A form with parameters, as name=value, is none of Bearer's; a key itself holds no such sign.
    if scheme.lower() != "bearer" or not token or "=" in token.rstrip("="):
        return _refusal("This service asks for a key: send it as Authorization: Bearer KEY.")
    name = name_of(token, lists.entries())
    if name is None and lists.shut:
        # Not that the key is invalid: nobody knows, and its caller should keep it.
        return _refusal(
            "The service cannot tell now which keys are valid: whoever runs it finds the reason "
            "in its log."
        )
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
