"""What browser tests of the kiosk page share."""

from typing import Any

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


def state(page: Page, **entries: Any) -> None:
    """Begin with entries of `ask` and of the sight, as a browser has kept them."""
    page.goto("/healthz")
    page.evaluate(
        """([ask, sight]) => localStorage.setItem("arrowloft.state", JSON.stringify({
            format: 1, system: "metric", ask, setup: {
                bow: { peep_height: "11 cm", draw_length: "28.5 in", brace_height: "6.5 in" },
                arrow: { mass: "400 gr", shaft_diameter: "5.8 mm", length: "28.5 in",
                         balance_point: "16 in" },
                sight,
                launch: { model: "measured", parameters: { speed: "270 ft/s" } },
                drag: { model: "constant", parameters: { coefficient: 2 } }, air: {}, site: {},
        }}))""",
        [entries.pop("ask", {}), {"radius": "84 cm", "zero_distance": "20 m"} | entries],
    )


def asked(page: Page, resource: str, body: dict[str, Any]) -> Any:
    """What the service itself says of the entries that the page has kept."""
    setup = page.evaluate("JSON.parse(localStorage['arrowloft.state']).setup")
    reply = page.request.post(f"/v1/{resource}", data={**setup, **body})
    assert reply.status == 200, reply.text()
    return reply.json()


def try_now(page: Page) -> None:
    """Ask a lost service again, unless the page has found it by itself meanwhile."""
    button = page.get_by_role("button", name="Try now")
    button.evaluate_all("(found) => found.forEach((one) => one.click())")
