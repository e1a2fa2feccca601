"""Who asks: the connection says it, and of what proxies say only what the trusted ones added."""

from typing import Any

import flask
import pytest

from arrowloft.app import create_app
from arrowloft.operation.settings import Settings

PEER = "192.0.2.7"
LYING = {
    "X-Forwarded-For": "203.0.113.1, 203.0.113.2, 203.0.113.3",
    "X-Forwarded-Proto": "ftp, http, https",
    "X-Forwarded-Host": "one.example, two.example, three.example",
    "X-Forwarded-Port": "1",
    "X-Forwarded-Prefix": "/prefix",
    "X-Forwarded-Ssl": "on",
    "X-Real-Ip": "203.0.113.9",
    "X-Script-Name": "/prefix",
    "Forwarded": "for=203.0.113.8;proto=https;host=evil.example",
}


def seen(proxies: int, headers: dict[str, str]) -> tuple[Any, ...]:
    """Address, scheme, host and root of a request as the service sees them."""
    app = create_app(settings=Settings(proxies=proxies))
    with app.test_client() as client:
        reply = client.get("/healthz", headers=headers, environ_base={"REMOTE_ADDR": PEER})
        assert reply.status_code == 200
        asked = flask.request
        return asked.remote_addr, asked.scheme, asked.host, asked.root_path


def test_nobody_is_believed_unless_proxies_are_set() -> None:
    assert seen(0, LYING) == (PEER, "http", "localhost", "")


@pytest.mark.parametrize(
    ("proxies", "address", "scheme", "host"),
    [
        (1, "203.0.113.3", "https", "three.example"),
        (2, "203.0.113.2", "http", "two.example"),
        (3, "203.0.113.1", "ftp", "one.example"),
    ],
)
def test_what_the_trusted_proxies_added_counts(
    proxies: int, address: str, scheme: str, host: str
) -> None:
    assert seen(proxies, LYING) == (address, scheme, host, "")


@pytest.mark.parametrize("proxies", [4, 5])
def test_too_few_values_are_no_answer(proxies: int) -> None:
    assert seen(proxies, LYING) == (PEER, "http", "localhost", "")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("X-Forwarded-For", ""),
        ("X-Forwarded-For", "nonsense, '\"; <script>"),
        ("X-Forwarded-For", "x" * 3000),
        ("X-Forwarded-Host", "a b\\c"),
        ("X-Forwarded-Host", "[::1"),
        ("X-Forwarded-Host", "evil.example:99999999"),
        ("X-Forwarded-Proto", "javascript"),
        ("X-Forwarded-Proto", "\xff"),
        ("Host", "a b"),
        ("Host", ""),
        ("Host", "[::1"),
        ("Host", "evil.example:port"),
    ],
)
@pytest.mark.parametrize("proxies", [0, 1])
def test_nonsense_does_no_harm(proxies: int, name: str, value: str) -> None:
    client = create_app(settings=Settings(proxies=proxies)).test_client()
    for path, status in (("/healthz", 200), ("/nothing", 404), ("/", 200)):
        reply = client.get(path, headers={name: value})
        assert reply.status_code == status
        assert "Location" not in reply.headers and "evil.example" not in reply.text


def test_no_path_is_the_entrance() -> None:
    """As in `GET http://evil.example`: nobody is sent on to what the caller has named."""
    client = create_app().test_client()
    reply = client.get("/", headers={"Host": "evil.example"}, environ_overrides={"PATH_INFO": ""})
    assert reply.status_code == 200 and "Location" not in reply.headers
    assert reply.get_json()["service"] == "arrowloft"
