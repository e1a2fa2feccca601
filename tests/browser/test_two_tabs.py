"""Two tabs of one browser: one set of entries, one idle clock; and entries that bring their own."""

import pytest
from browsing import DESKTOP, PHONE, Visit, foresee
from kiosk_page import LOADING, glance, opened
from playwright.sync_api import Locator, Page, expect


def peep(page: Page) -> Locator:
    return page.get_by_label("Peep to arrow", exact=True)


def test_what_one_tab_enters_the_other_shows_and_keeps(visit: Visit) -> None:
    with visit(DESKTOP) as page:
        opened(page)
        other = page.context.new_page()
        opened(other)
        peep(page).fill("13")
        expect(peep(other)).to_have_value("13", timeout=LOADING)
        other.get_by_label("Mass", exact=True).fill("431")
        expect(page.get_by_label("Mass", exact=True)).to_have_value("431", timeout=LOADING)
        expect(peep(page)).to_have_value("13")


def test_what_a_tab_fills_in_by_itself_overwrites_nothing_of_another(visit: Visit) -> None:
    """One that is being opened does, and may not have been told yet what was entered."""
    with visit(DESKTOP) as page:
        opened(page)
        peep(page).fill("12")
        kept = page.evaluate(
            """async () => {
            const { get, settle } = await import('/kiosk/kept/state.js');
            const kept = JSON.parse(localStorage['arrowloft.state']);
            kept.setup.arrow.mass = '431 gr';
            localStorage['arrowloft.state'] = JSON.stringify(kept);  // as another tab does
            settle('setup/drag/parameters/vane_height', '9 mm');
            await Promise.resolve();
            const now = JSON.parse(localStorage['arrowloft.state']).setup;
            return [get('setup/arrow/mass'), now.arrow.mass, now.drag.parameters.vane_height]; }"""
        )
        assert kept == ["431 gr", "431 gr", "9 mm"]
        expect(page.get_by_label("Mass", exact=True)).to_have_value("431", timeout=LOADING)
        expect(peep(page)).to_have_value("12")


COUNTING = """
window.written = 0;
const keep = Storage.prototype.setItem;
Storage.prototype.setItem = function (name, value) {
  if (name === 'arrowloft.state') window.written += 1;
  keep.call(this, name, value);
};
"""


def test_a_tab_that_only_shows_writes_nothing(visit: Visit) -> None:
    """What it wrote might be older than what another has entered: tabs are told with a delay."""
    with visit(DESKTOP) as page:
        opened(page)
        peep(page).fill("13")
        other = page.context.new_page()
        other.add_init_script(COUNTING)
        opened(other)
        model = other.locator("[data-model=drag]").get_by_label("Model", exact=True)
        expect(model).to_have_value("component", timeout=LOADING)
        expect(other.locator("[data-model=drag] .folded").first).to_be_visible(timeout=LOADING)
        expect(other.locator("[data-model=launch] .field").nth(1)).to_be_visible(timeout=LOADING)
        peep(page).fill("14")
        expect(peep(other)).to_have_value("14", timeout=LOADING)
        assert other.evaluate("window.written") == 0
        other.get_by_label("Mass", exact=True).fill("431")
        other.wait_for_function("window.written > 0")


def test_what_one_tab_clears_no_other_brings_back(visit: Visit) -> None:
    with visit(DESKTOP) as page:
        opened(page)
        peep(page).fill("13")
        kept = page.evaluate(
            """async () => {
            const { get, settle } = await import('/kiosk/kept/state.js');
            delete localStorage['arrowloft.state'];  // as another tab does
            settle('setup/drag/parameters/vane_height', '9 mm');
            await Promise.resolve();
            return [get('setup/bow/peep_height'), localStorage['arrowloft.state']]; }"""
        )
        assert kept[0] == "11 cm" and '"13 cm"' not in kept[1]


@pytest.mark.parametrize("back", ["pageshow", "visibilitychange"])
def test_who_comes_back_to_a_page_sees_what_was_entered_meanwhile(visit: Visit, back: str) -> None:
    """A page that is put aside, as by going to another and back, is told nothing."""
    with visit(DESKTOP) as page:
        opened(page)
        peep(page).fill("13")
        page.evaluate(
            """(back) => {
            const kept = JSON.parse(localStorage['arrowloft.state']);
            kept.setup.arrow.mass = '431 gr';
            localStorage['arrowloft.state'] = JSON.stringify(kept);  // as another tab does
            dispatchEvent(new Event(back)); }""",
            back,
        )
        expect(page.get_by_label("Mass", exact=True)).to_have_value("431", timeout=LOADING)
        expect(peep(page)).to_have_value("13")


def test_a_state_from_elsewhere_brings_its_own_parameters(visit: Visit) -> None:
    with visit(PHONE) as page:
        opened(page)
        drag = page.locator("[data-model=drag]")
        expect(drag.get_by_label("Model", exact=True)).to_have_value("component", timeout=LOADING)
        page.evaluate(
            """async () => {
            const { replace, whole } = await import('/kiosk/kept/state.js');
            const state = structuredClone(whole());
            state.setup.drag = { model: 'constant', parameters: { coefficient: 2.7 } };
            replace(state); }"""
        )
        expect(drag.get_by_label("Coefficient", exact=True)).to_have_value("2.7", timeout=LOADING)
        kept = page.evaluate(
            "async () => (await import('/kiosk/kept/state.js')).get('setup/drag/parameters')"
        )
        assert kept == {"coefficient": 2.7}


def test_all_that_waited_for_a_lost_service_is_asked_again(visit: Visit) -> None:
    with visit(DESKTOP) as page:
        opened(page)
        before = glance(page)
        lost = "**/v1/models/drag/*"
        page.route(lost, lambda route: route.abort("connectionrefused"))
        foresee(page, "ERR_CONNECTION_REFUSED")
        foresee(page, "422")  # without the parameters that the lost description would bring
        drag = page.locator("[data-model=drag]")
        with page.expect_response(lambda reply: reply.status == 422):
            drag.get_by_label("Model", exact=True).select_option("constant")
        expect(page.get_by_role("alert").filter(has_text="Nothing is lost")).to_be_attached()
        page.unroute(lost)
        page.get_by_label("Mass", exact=True).fill("440")
        expect(drag.get_by_label("Coefficient", exact=True)).to_be_visible(timeout=LOADING)
        expect(page.locator("#glance .strip")).not_to_have_text("".join(before), timeout=LOADING)
