"""What people look at: pictures of the service, and the kiosk page in Debian's chromium."""

import json
import os
import shutil

from figures import at_most
from serving import ROOT, milliseconds, service

_LOADS, _CHANGES = 5, 12

_USABLE = "() => document.body.dataset.ready && document.querySelector('#glance tbody tr')"
_TRANSFERRED = """() => [...performance.getEntriesByType("navigation"),
    ...performance.getEntriesByType("resource")].reduce((sum, one) => sum + one.transferSize, 0)"""
_CHANGED = """(value) => new Promise((done) => {
    const label = [...document.querySelectorAll("label")].find((one) => one.textContent === "Mass");
    const input = document.getElementById(label.htmlFor);
    const rows = document.querySelector("#glance tbody");
    const start = performance.now();
    new MutationObserver((_, seen) => { seen.disconnect(); done(performance.now() - start); })
        .observe(rows, { childList: true });
    input.value = value;
    input.dispatchEvent(new Event("input", { bubbles: true }));
})"""


def figures():
    with service() as port:
        yield from _pictures(port)
        yield from _page(f"http://127.0.0.1:{port}")


def _pictures(port):
    """Every resource that is drawn, with its own example, the libraries imported."""
    document = json.loads((ROOT / "openapi/openapi.json").read_text())
    for path, operations in document["paths"].items():
        forms = operations.get("post", {}).get("responses", {}).get("200", {}).get("content", {})
        name = path.removeprefix("/v1/")
        for kind in ("image/svg+xml", "application/pdf"):
            if kind in forms:
                body = json.loads((ROOT / f"openapi/examples/{name}.request.json").read_text())
                spent = milliseconds(port, name, body, accept=kind)
                yield at_most(f"/v1/{name} as {kind}, its example, warm", spent, 300, " ms")


def _page(url):
    from playwright.sync_api import sync_playwright

    options = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as running:
        browser = running.chromium.launch(executable_path=shutil.which("chromium"), args=options)
        spent, moved, changes = [], 0, []
        for _ in range(_LOADS):  # each with a cache of its own, empty at first
            page = browser.new_context(viewport={"width": 360, "height": 740}).new_page()
            page.goto(url)
            page.wait_for_function(_USABLE)
            spent.append(page.evaluate("() => performance.now()"))
            moved = page.evaluate(_TRANSFERRED)
        for index in range(_CHANGES):
            changes.append(page.evaluate(_CHANGED, str(401 + index)))
        browser.close()
    yield at_most("kiosk page usable, cold cache", 1e-3 * sorted(spent)[_LOADS // 2], 1.0, " s")
    yield at_most("kiosk page, transferred", moved / 1000, 300, " kB")
    middle = sorted(changes)[_CHANGES // 2]
    yield at_most("a number typed, until the marks follow", middle, 150, " ms")
