"""The API document to read and try, in a real browser."""

import pytest
from browsing import PHONE, Visit, accessible, foresee, screenshot, watch_of
from playwright.sync_api import Locator, Page, expect

LOADING = 60_000
"""Milliseconds for what takes one or two seconds: other work may share the cores."""


def opened(page: Page) -> Locator:
    """The operation of the mark table, unfolded."""
    page.goto("/docs")
    operation = page.locator("#operations-Marks-mark_table")
    operation.get_by_role("button", name="/v1/mark-table").first.click(timeout=LOADING)
    expect(operation.locator("textarea")).to_be_visible(timeout=LOADING)
    return operation


def test_a_request_is_tried_on_a_large_screen(desktop: Page) -> None:
    operation = opened(desktop)
    expect(desktop).to_have_title("arrowloft: the API document")
    with desktop.expect_response("**/v1/mark-table*", timeout=LOADING) as sent:
        operation.get_by_role("button", name="Execute").click()
    assert sent.value.request.method == "POST"
    rows = sent.value.json()["rows"]
    shown = operation.locator(".live-responses-table .response").first
    expect(shown.locator(".response-col_status")).to_contain_text("200", timeout=LOADING)
    expect(shown).to_contain_text(str(rows[-1]["travel"]))
    shown.scroll_into_view_if_needed()
    screenshot(desktop, "document-page-tried", whole=False)
    accessible(desktop)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_can_be_read_on_a_phone(visit: Visit, scheme: str) -> None:
    with visit(PHONE, color_scheme=scheme) as page:
        opened(page)
        assert page.evaluate("document.documentElement.scrollWidth") == 360
        screenshot(page, f"document-page-phone-{scheme}", whole=False)
        accessible(page)


def test_it_leads_on(phone: Page) -> None:
    phone.route("**/swagger-ui-bundle.js", lambda route: route.fulfill(body=""))
    phone.goto("/docs")
    assert phone.locator("html").get_attribute("lang") == "en"
    links = phone.get_by_role("navigation").get_by_role("link").all()
    found = {link.inner_text(): phone.request.get(link.get_attribute("href")) for link in links}
    assert [reply.status for reply in found.values()] == [200, 200, 200]
    assert "Which layer, and does it matter?" in found["Guide for researchers"].text()
    assert found["The document as JSON"].json()["openapi"] == "3.1.0"


def test_code_that_somebody_slips_in_does_not_run(desktop: Page) -> None:
    """The policy holds in the browser: neither inline code nor another host's."""
    desktop.route("**/swagger-ui-bundle.js", lambda route: route.fulfill(body=""))
    desktop.goto("/docs")
    foresee(desktop, "inline script.*Content Security Policy directive 'script-src 'self''")
    foresee(desktop, "http://127.0.0.2:9/.*Content Security Policy")
    ran = desktop.evaluate(
        """async () => {
            const slipped = document.createElement("script");
            slipped.textContent = "window.slipped = true";
            document.head.append(slipped);
            const told = await fetch("http://127.0.0.2:9/").then(() => true, () => false);
            return [window.slipped === true, told];
        }"""
    )
    assert ran == [False, False]
    assert not any("127.0.0.2" in url for url in watch_of(desktop).requests)


def test_a_document_that_does_not_come_is_said(desktop: Page) -> None:
    foresee(desktop, "ERR_FAILED")
    desktop.route("**/openapi.json", lambda route: route.abort())
    desktop.goto("/docs")
    expect(desktop.get_by_role("status")).to_contain_text("Load this page again", timeout=LOADING)
