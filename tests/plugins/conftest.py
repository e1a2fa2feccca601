"""A request to spoil, and the service as it is run, for as long as a module's tests need it."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from strangers import Service, demo_request, start, wait_until_served


@pytest.fixture
def asked() -> dict[str, Any]:
    """A valid request for a mark table, to be changed at will."""
    return demo_request()


@pytest.fixture(scope="module")
def serve(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Service]]:
    """A function that starts the service, waits until it answers, and hands it over."""
    started: list[Service] = []

    def served(**options: Any) -> Service:
        log = tmp_path_factory.mktemp("service") / "service.log"
        started.append(start(log, **options))
        wait_until_served(started[-1])
        return started[-1]

    yield served
    for service in started:
        service.end()
