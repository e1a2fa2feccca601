"""A value that is wrong, and a service that is lost."""

import threading
from collections.abc import Callable
from pathlib import Path

from browsing import DESKTOP, PHONE, Visit, accessible, foresee, screenshot
from kiosk_page import LOADING, glance, opened, try_now
from playwright.sync_api import Page, Request, Route, expect
from strangers import Service, start, wait_until_served


def test_what_is_wrong_is_said_beside_the_field(phone: Page) -> None:
    opened(phone)
    foresee(phone, "422")
    before = glance(phone)
    mass = phone.get_by_label("Mass", exact=True)
    mass.fill("4oo")
    field = phone.locator("[data-pointer='/arrow/mass']")
    expect(field.locator(".error")).to_contain_text("“4oo” is no number", timeout=LOADING)
    expect(mass).to_have_attribute("aria-invalid", "true")
    described = mass.get_attribute("aria-describedby") or ""
    assert field.locator(".error").get_attribute("id") in described.split()
    assert phone.locator(".error:visible").count() == 1
    assert glance(phone) == before
    accessible(phone)
    screenshot(phone, "kiosk-wrong-value", whole=False)
    mass.fill("400")
    expect(phone.locator(".error:visible")).to_have_count(0, timeout=LOADING)
    expect(mass).not_to_have_attribute("aria-invalid", "true")


def test_what_is_wrong_with_the_set_up_is_said_on_other_steps_too(desktop: Page) -> None:
    opened(desktop)
    foresee(desktop, "422")
    desktop.get_by_label("Mass", exact=True).fill("1")
    desktop.get_by_role("link", name="Next: Marks").click()
    summary = desktop.locator("main .summary")
    expect(summary).to_contain_text("arrow, mass", timeout=LOADING)
    summary.get_by_role("button", name="Go to the set-up").click()
    expect(desktop.locator("[data-pointer='/arrow/mass'] .error")).to_be_visible(timeout=LOADING)


def test_a_comma_is_a_decimal_point(phone: Page) -> None:
    opened(phone)
    phone.get_by_label("Shaft diameter", exact=True).fill("6,2")
    kept = "JSON.parse(localStorage['arrowloft.state']).setup.arrow.shaft_diameter"
    phone.wait_for_function(f"() => {kept} === '6.2 mm'")


def test_a_comma_before_three_digits_is_asked_about(phone: Page) -> None:
    opened(phone)
    foresee(phone, "422")
    phone.locator("[data-pointer='/site/altitude'] input").fill("1,500")
    error = phone.locator("[data-pointer='/site/altitude'] .error")
    expect(error).to_contain_text("“1,500” is no number", timeout=LOADING)


def test_a_lost_service_loses_nothing(
    visit: Visit, own_service: Callable[..., Service], tmp_path: Path
) -> None:
    first = own_service()
    with visit(PHONE, url=first.url) as page:
        opened(page)
        before = glance(page)
        first.end()
        foresee(page, "ERR_CONNECTION_(REFUSED|RESET)")
        page.get_by_label("Mass", exact=True).fill("440")
        banner = page.get_by_role("alert").filter(has_text="Nothing is lost")
        expect(banner).to_be_visible(timeout=LOADING)
        expect(page.get_by_label("Mass", exact=True)).to_have_value("440")
        assert glance(page) == before
        accessible(page)
        screenshot(page, "kiosk-lost-service", whole=False)
        port = int(first.url.rsplit(":", 1)[1])
        again = start(tmp_path / "again.log", port=port)
        try:
            wait_until_served(again)
            try_now(page)
            expect(banner).to_be_hidden(timeout=LOADING)
            expect(page.locator("#glance .strip")).not_to_have_text("".join(before))
        finally:
            again.end()


def test_a_service_that_is_lost_at_first_is_waited_for(visit: Visit) -> None:
    with visit(DESKTOP) as page:
        page.route("**/v1/**", lambda route: route.abort("connectionrefused"))
        foresee(page, "ERR_CONNECTION_REFUSED")
        page.goto("/")
        banner = page.get_by_role("alert").filter(has_text="Nothing is lost")
        expect(banner).to_be_visible(timeout=LOADING)
        page.unroute("**/v1/**")
        try_now(page)
        expect(page.locator("#glance tbody tr")).to_have_count(6, timeout=LOADING)
        expect(page.locator("[data-model=drag] select").first).to_be_visible(timeout=LOADING)
        expect(banner).to_be_hidden()


def test_progress_is_shown_where_an_answer_takes_long(desktop: Page) -> None:
    opened(desktop)
    held, free = [], threading.Event()
    desktop.route(
        "**/v1/mark-table",
        lambda route: route.continue_() if free.is_set() else held.append(route),
    )
    desktop.get_by_label("Mass", exact=True).fill("410")
    expect(desktop.get_by_role("status").filter(has_text="Computing")).to_be_visible()
    free.set()
    for route in held:
        route.continue_()
    expect(desktop.get_by_role("status").filter(has_text="Computing")).to_have_count(0)


def test_what_is_no_longer_wanted_is_not_hung_up_on(desktop: Page) -> None:
    """It is computed to the end anyway, and would be under way without being counted."""
    opened(desktop)
    held: list[Route] = []
    answered: list[str] = []
    given_up: list[str] = []

    def of(mass: str) -> Callable[[Request], bool]:
        return lambda one: f'"{mass} gr"' in (one.post_data or "")

    desktop.on("requestfailed", lambda one: given_up.append(one.url))
    desktop.on("requestfinished", lambda one: answered.append(one.post_data or ""))
    desktop.route(
        "**/v1/mark-table",
        lambda route: held.append(route) if of("410")(route.request) else route.continue_(),
    )
    mass = desktop.get_by_label("Mass", exact=True)
    with desktop.expect_request(of("410")):
        mass.fill("410")
    with desktop.expect_request(of("440")):
        mass.fill("440")
    assert given_up == []
    for route in held:
        route.continue_()
    for _ in range(LOADING // 50):
        if all(any(f'"{one} gr"' in body for body in answered) for one in (410, 440)):
            break
        desktop.wait_for_timeout(50)
    else:
        raise AssertionError("one of the two was never answered")
    newest = glance(desktop)
    desktop.reload()
    expect(desktop.locator("#glance tbody tr")).to_have_count(6, timeout=LOADING)
    assert glance(desktop) == newest


def test_who_asks_too_often_is_answered_later_without_alarm(desktop: Page) -> None:
    """As others at the same address do."""
    opened(desktop)
    before = glance(desktop)
    foresee(desktop, "429")
    refused: list[Route] = []

    def twice(route: Route) -> None:
        if len(refused) == 2:
            route.continue_()
        else:
            refused.append(route)
            route.fulfill(status=429, headers={"Retry-After": "1"})

    desktop.route("**/v1/mark-table", twice)
    desktop.evaluate(
        """() => {
        const banner = document.getElementById('lost');
        window.alarms = 0;
        new MutationObserver(() => { window.alarms += !banner.hidden; })
            .observe(banner, { attributes: true }); }"""
    )
    desktop.get_by_label("Mass", exact=True).fill("440")
    expect(desktop.locator("#glance .strip")).not_to_have_text("".join(before), timeout=LOADING)
    assert len(refused) == 2
    assert desktop.evaluate("window.alarms") == 0
