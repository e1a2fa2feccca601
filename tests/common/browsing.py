"""What tests in a real browser share: what a page did is watched, its looks are kept."""

import os
import re
import weakref
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, ConsoleMessage, Page, Request, WebError
from strangers import ROOT

HERE = "127.0.0.1"

PHONE: dict[str, Any] = {
    "viewport": {"width": 360, "height": 740},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
DESKTOP: dict[str, Any] = {"viewport": {"width": 1920, "height": 1080}}

Visit = Callable[..., AbstractContextManager[Page]]
"""What the fixture `visit` is."""

GRAVE = ("serious", "critical")

_watches: "weakref.WeakKeyDictionary[BrowserContext, Watch]" = weakref.WeakKeyDictionary()


class Watch:
    """What went wrong on the pages of a context, and whom they asked.

    faults: console errors, uncaught exceptions, failed requests, as texts.
    requests: the address of every request, data and blobs aside.
    """

    def __init__(self, context: BrowserContext) -> None:
        self.faults: list[str] = []
        self.requests: list[str] = []
        self._foreseen: dict[str, bool] = {}
        context.on("console", self._console)
        context.on("weberror", self._error)
        context.on("request", self._request)
        context.on("requestfailed", self._failed)
        _watches[context] = self

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            where = message.location.get("url", "")
            self.faults.append(f"console: {message.text} ({where})")

    def _error(self, error: WebError) -> None:
        self.faults.append(f"exception: {error.error}")

    def _request(self, request: Request) -> None:
        if urlsplit(request.url).scheme not in ("data", "blob", "about"):
            self.requests.append(request.url)

    def _failed(self, request: Request) -> None:
        # The page itself gave it up: a newer question took its place.
        if request.failure == "net::ERR_ABORTED":
            return
        self.faults.append(f"failed: {request.method} {request.url} ({request.failure})")

    def foresee(self, pattern: str, *, sure: bool) -> None:
        """From now on a fault that this expression finds is no fault.

        sure: one has to come.
        """
        self._foreseen[pattern] = sure

    def judge(self) -> None:
        """Fail where something went wrong that was not foreseen, or the other way round."""
        wrong = [
            fault
            for fault in self.faults
            if not any(re.search(pattern, fault) for pattern in self._foreseen)
        ]
        assert not wrong, "\n".join(wrong)
        for pattern, sure in self._foreseen.items():
            came = any(re.search(pattern, fault) for fault in self.faults)
            assert came or not sure, f"no fault: {pattern}"
        left = [url for url in self.requests if urlsplit(url).hostname != HERE]
        assert not left, f"requests left the host: {left}"


def watch_of(page: Page) -> Watch:
    """What watches this page."""
    return _watches[page.context]


def foresee(page: Page, pattern: str, *, sure: bool = True) -> None:
    """Say that a console error, an exception or a failed request will come, and is no fault.

    pattern: an expression that its text holds, such as `503` or `ERR_CONNECTION_REFUSED`.
    sure: that it will; else it may, as where it depends on which of two answers comes first.
    The browser itself reports every reply of 400 and above as a console error.
    """
    watch_of(page).foresee(pattern, sure=sure)


def screenshot(page: Page, name: str, *, whole: bool = True) -> Path:
    """A PNG of the page, in $ARROWLOFT_SCREENSHOTS or `.screenshots` of the checkout.

    whole: from top to bottom; else what the screen shows.
    """
    folder = Path(os.environ.get("ARROWLOFT_SCREENSHOTS") or ROOT / ".screenshots")
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.png"
    page.screenshot(path=path, full_page=whole)
    return path


def accessible(page: Page, *, leave_out: tuple[str, ...] = ()) -> None:
    """Fail where axe-core finds something serious or critical on the page as it stands.

    leave_out: selectors of what is not ours to mend.
    """
    # A list of lists: each selector by itself, not one path through frames.
    context = {"exclude": [[selector] for selector in leave_out]} if leave_out else None
    found = Axe().run(page, context=context).response["violations"]
    grave = [_told(item) for item in found if item["impact"] in GRAVE]
    assert not grave, "\n\n".join(grave)


def _told(violation: dict[str, Any]) -> str:
    lines = [f"{violation['impact']}: {violation['help']} ({violation['id']})"]
    for node in violation["nodes"]:
        lines.append(f"  {' '.join(map(str, node['target']))}: {node['html'][:200]}")
        found = [*node["any"], *node["all"], *node["none"]]
        lines += [f"    {item['message']}" for item in found]
    return "\n".join(lines)
