"""A service that asks for a key: the page has a field for it, and the key goes nowhere else."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import DESKTOP, PHONE, Visit, accessible, foresee, screenshot
from kiosk_page import LOADING, glance, no_wider_than_the_screen, opened
from playwright.sync_api import Page, Request, expect
from strangers import Service, start, wait_until_served

from arrowloft.operation.keys import fresh

CLUB, GUEST = fresh("club"), fresh("guest")


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("keys") / "keys"


@pytest.fixture(scope="module")
def locked(keys: Path) -> Iterator[Service]:
    keys.write_text(CLUB.line)
    served = start(keys.with_name("log"), settings={"ARROWLOFT_KEYS_FILE": str(keys)})
    try:
        wait_until_served(served)
        yield served
    finally:
        served.end()


@pytest.fixture(autouse=True)
def club_s_alone(locked: Service, keys: Path) -> None:
    keys.write_text(f"{CLUB.line}\n")


def gate(page: Page) -> Any:
    return page.get_by_role("region", name="Key of the service")


def give(page: Page, key: str) -> None:
    gate(page).get_by_label("Key", exact=True).fill(key)
    gate(page).get_by_role("button", name="Use this key").click()


def let_in(page: Page) -> None:
    """At a service that asks, with the right key."""
    foresee(page, "401")
    page.goto("/")
    expect(gate(page)).to_be_visible(timeout=LOADING)
    give(page, CLUB.key)
    expect(gate(page)).to_be_hidden(timeout=LOADING)
    expect(page.locator("#glance tbody tr")).to_have_count(6, timeout=LOADING)


@pytest.mark.parametrize("screen", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_the_page_asks_for_the_key(visit: Visit, locked: Service, screen: dict[str, Any]) -> None:
    with visit(screen, url=locked.url) as page:
        foresee(page, "401")
        page.goto("/")
        expect(gate(page)).to_contain_text("This service asks for a key", timeout=LOADING)
        expect(gate(page).get_by_text("not valid")).to_be_hidden()
        # It does answer, if only that.
        expect(page.get_by_text("The service does not answer")).to_have_count(0)
        accessible(page)
        no_wider_than_the_screen(page)
        screenshot(page, f"kiosk-key-{screen['viewport']['width']}", whole=False)
        give(page, "two words")
        expect(gate(page)).to_contain_text("This is no key", timeout=LOADING)
        for wrong in (GUEST.key, CLUB.line.split(":")[1]):
            give(page, wrong)
            expect(gate(page)).to_contain_text("This key is not valid here", timeout=LOADING)
            expect(gate(page).get_by_label("Key", exact=True)).to_have_value(wrong)
        accessible(page)
        screenshot(page, f"kiosk-key-wrong-{screen['viewport']['width']}", whole=False)
        give(page, f"  {CLUB.key}\n")
        expect(gate(page)).to_be_hidden(timeout=LOADING)
        expect(page.locator("#glance tbody tr")).to_have_count(6, timeout=LOADING)
        expect(page.locator("[data-model=drag] select").first).to_be_visible(timeout=LOADING)
        assert len(glance(page)) == 6


def test_it_is_kept_and_goes_with_every_request_and_nowhere_else(
    visit: Visit, locked: Service, tmp_path: Path
) -> None:
    with visit(DESKTOP, url=locked.url, permissions=["clipboard-read", "clipboard-write"]) as page:
        let_in(page)
        asked: list[Request] = []
        page.context.on("request", lambda one: asked.append(one))
        page.reload()
        opened(page, "print")
        expect(page.get_by_role("button", name="Save the PDF")).to_be_visible(timeout=LOADING)
        with page.expect_download(timeout=LOADING) as sheet:
            page.get_by_role("button", name="Save the PDF").click()
        page.get_by_role("button", name="Menu").click()
        page.get_by_role("button", name="Copy a link").click()
        expect(page.get_by_text("The link is copied")).to_be_visible(timeout=LOADING)
        with page.expect_download(timeout=LOADING) as file:
            page.get_by_role("button", name="Save a file").click()
        link = page.evaluate("navigator.clipboard.readText()")
        kept = page.evaluate("({ ...localStorage })")
        computed = [one for one in asked if "/v1/" in one.url]
        assert len(computed) > 4
        for one in computed:
            assert one.all_headers()["authorization"] == f"Bearer {CLUB.key}"
        for one in asked:
            assert CLUB.key not in one.url and CLUB.key not in (one.post_data or "")
            if "/v1/" not in one.url and one.url.startswith("http"):
                assert "authorization" not in one.all_headers()
        assert kept.pop("arrowloft.key") == CLUB.key
        held = json.dumps([kept, link, page.url, page.title(), page.content()])
        for download in (sheet.value, file.value):
            download.save_as(tmp_path / "saved")
            held += (tmp_path / "saved").read_text(encoding="latin-1")
        assert CLUB.key not in held and CLUB.key[3:20] not in held
        # What the link's text unfolds to.
        state = page.evaluate(
            """async (link) => {
                const text = atob(link.split("/").at(-1).replace(/.*=/, "")
                    .replaceAll("-", "+").replaceAll("_", "/"));
                const bytes = Uint8Array.from(text, (sign) => sign.charCodeAt(0));
                const stream = new Blob([bytes]).stream()
                    .pipeThrough(new DecompressionStream("deflate-raw"));
                return new Response(stream).text();
            }""",
            link,
        )
        assert "setup" in json.loads(state) and CLUB.key not in state


def test_clearing_everything_forgets_it(visit: Visit, locked: Service) -> None:
    with visit(PHONE, url=locked.url) as page:
        let_in(page)
        page.get_by_role("button", name="Menu").click()
        page.get_by_role("button", name="Clear everything").click()
        page.get_by_role("button", name="Clear everything").last.click()
        expect(gate(page)).to_be_visible(timeout=LOADING)
        expect(gate(page).get_by_label("Key", exact=True)).to_have_value("")
        assert CLUB.key not in page.evaluate("JSON.stringify({ ...localStorage })")
        give(page, CLUB.key)
        expect(gate(page)).to_be_hidden(timeout=LOADING)


def test_a_key_that_is_exchanged_is_asked_for_anew_and_nothing_is_lost(
    visit: Visit, locked: Service, keys: Path
) -> None:
    with visit(DESKTOP, url=locked.url) as page:
        let_in(page)
        before = glance(page)
        other = page.context.new_page()
        opened(other)
        keys.write_text(f"# exchanged\n{GUEST.line}\n")
        page.bring_to_front()
        mass = page.get_by_label("Mass", exact=True)
        mass.fill("440")
        expect(gate(page)).to_contain_text("not valid here", timeout=LOADING)
        expect(gate(other)).to_contain_text("not valid here", timeout=LOADING)
        assert glance(page) == before
        give(page, GUEST.key)
        # What waits is asked again, in the other tab too.
        for one in (page, other):
            expect(gate(one)).to_be_hidden(timeout=LOADING)
            expect(one.locator("#glance .strip")).not_to_have_text("".join(before))
            expect(one.get_by_label("Mass", exact=True)).to_have_value("440")


def test_a_service_without_keys_shows_no_field(phone: Page) -> None:
    opened(phone)
    expect(gate(phone)).to_be_hidden()
    assert phone.evaluate("localStorage['arrowloft.key']") is None
