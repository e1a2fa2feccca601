"""The service as it is run, and Debian's chromium on a phone's screen and on a large one."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import tools
from browsing import DESKTOP, HERE, PHONE, Visit, Watch
from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright
from strangers import Service, start, wait_until_served


@pytest.fixture(scope="package")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Two workers, the built-in models; one for all tests of the folder."""
    log = tmp_path_factory.mktemp("service") / "log"
    served = start(log, options=("--workers", "2"))
    try:
        wait_until_served(served)
        yield served
    finally:
        served.end()


# Of the folder, not of the session: as long as Playwright runs, an event loop does in this
# thread, and tests of other folders start loops of their own.
@pytest.fixture(scope="package")
def playwright() -> Iterator[Playwright]:
    # Nothing is timed here, and other work may share the cores: as patient as Playwright is.
    expect.set_options(timeout=30_000)
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="package")
def browser(playwright: Playwright) -> Iterator[Browser]:
    """Headless; no name but this host's is ever looked up."""
    path = tools.needed("chromium")
    options = [f"--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE {HERE}"]
    if os.geteuid() == 0:
        options.append("--no-sandbox")
    running = playwright.chromium.launch(executable_path=path, args=options)
    yield running
    running.close()


@pytest.fixture
def visit(browser: Browser, service: Service) -> Visit:
    """visit(screen, url=..., ...) as a context: a new reader's page, watched until its end.

    screen: PHONE or DESKTOP.  url: of another service than that of all tests.  What else is
    given goes to Playwright's new_context, such as color_scheme="dark".
    """

    @contextmanager
    def visited(screen: dict[str, Any], url: str = service.url, **more: Any) -> Iterator[Page]:
        options = {"locale": "en-GB", "reduced_motion": "reduce", "base_url": url}
        context = browser.new_context(**(options | screen | more))
        watch = Watch(context)
        try:
            yield context.new_page()
            watch.judge()
        finally:
            context.close()

    return visited


@pytest.fixture
def phone(visit: Visit) -> Iterator[Page]:
    """A page on a phone of 360 by 740."""
    with visit(PHONE) as page:
        yield page


@pytest.fixture
def desktop(visit: Visit) -> Iterator[Page]:
    """A page on a screen of 1920 by 1080."""
    with visit(DESKTOP) as page:
        yield page


@pytest.fixture
def own_service(tmp_path: Path) -> Iterator[Callable[..., Service]]:
    """own_service(*folders): a service for one test, to be lost or to hold others' models.

    folders: go onto its path, as `strangers.Distribution.lay_down` fills them.
    """
    started: list[Service] = []

    def started_with(*folders: Path) -> Service:
        served = start(tmp_path / f"service-{len(started)}.log", folders)
        started.append(served)
        wait_until_served(served)
        return served

    yield started_with
    for served in started:
        served.end()
