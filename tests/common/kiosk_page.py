"""What browser tests of the kiosk page share."""

from playwright.sync_api import Page, expect

STEPS = ("setup", "marks", "verify", "level", "path", "wind", "slopes", "window", "print")

LOADING = 30_000
"""Milliseconds for what takes one or two seconds: other work may share the cores."""


def opened(page: Page, step: str = "setup") -> None:
    """Open the page at a step, and wait until its marks are there."""
    page.goto(f"/#/{step}")
    expect(page.locator("body[data-ready]")).to_be_attached(timeout=LOADING)
    expect(page.locator("#glance tbody tr")).to_have_count(6, timeout=LOADING)


def go_on(page: Page) -> None:
    """To the next step."""
    page.get_by_role("link", name="Next: ").click()


def glance(page: Page) -> list[str]:
    """The marks at a glance, a text each, such as `40 m105 clicks down`."""
    return page.locator("#glance .strip li").all_text_contents()


def no_wider_than_the_screen(page: Page) -> None:
    """Fail where the page must be scrolled sideways."""
    wide, screen = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= screen, f"the page is {wide} px wide on a screen of {screen}"
