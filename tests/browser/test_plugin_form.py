"""A stranger's model appears on the page by itself, with a form of its own."""

from collections.abc import Callable
from pathlib import Path

from browsing import PHONE, Visit, accessible, foresee, screenshot
from kiosk_page import LOADING, glance, opened
from playwright.sync_api import expect
from strangers import Distribution, Service

MODEL = '''
    """A drag that somebody else ships."""

    from dataclasses import dataclass
    from types import MappingProxyType

    import numpy as np

    from arrowloft.plugin import DragModel, Source, cross_section, parameter


    @dataclass(frozen=True, kw_only=True)
    class Feathered(DragModel):
        """Drag of a shaft with feathers that lie close. CdA = (c + wetness) A."""

        name = "feathered-shaft"
        version = "1"
        sources = (Source("Nobody, Nothing, 2026", "from memory"),)
        example = MappingProxyType({"coefficient": 1.7})
        default_uncertainty = 0.2

        coefficient: float = parameter("Coefficient when dry.", low=0.0, high=10.0)
        feather_length: float = parameter(
            "Length of a feather.", "length", default=0.05, low=0.01, high=0.2
        )
        weather: str = parameter(
            "Weather that they were kept in.", "choice", default="dry", choices=("dry", "wet")
        )

        def kinks(self):
            """None: it is smooth."""
            return ()

        def drag_area(self, flow, arrow):
            """CdA in m2."""
            more = 0.8 if self.weather == "wet" else 0.0
            return np.full_like(flow.airspeed, (self.coefficient + more) * cross_section(arrow))
'''


def test_it_is_chosen_and_filled_in(
    visit: Visit, own_service: Callable[..., Service], tmp_path: Path
) -> None:
    Distribution(
        "somebodys-models",
        drag={"feathered-shaft": "somebodys:Feathered"},
        modules={"somebodys": MODEL},
    ).lay_down(tmp_path / "path")
    with visit(PHONE, url=own_service(tmp_path / "path").url) as page:
        opened(page)
        # Marks may be asked for before the parameters that the model wants are known.
        foresee(page, "422", sure=False)
        form = page.locator("[data-model=drag]")
        before = glance(page)
        form.get_by_label("Model", exact=True).select_option("feathered-shaft")
        expect(form.get_by_label("Coefficient", exact=True)).to_have_value("1.7", timeout=LOADING)
        expect(form).to_contain_text("Drag of a shaft with feathers that lie close.")
        expect(page.locator("#glance .strip")).not_to_have_text("".join(before), timeout=LOADING)
        dry = glance(page)
        form.get_by_text("More, with usual values").click()
        expect(form.get_by_label("Feather length (may stay empty)", exact=True)).to_be_visible()
        form.get_by_label("Weather", exact=True).select_option("Wet")
        expect(page.locator("#glance .strip")).not_to_have_text("".join(dry), timeout=LOADING)
        form.get_by_text("About this model").click()
        expect(form).to_contain_text("from somebodys-models 2.5")
        accessible(page)
        screenshot(page, "kiosk-somebodys-model")
        # Another model and back: what was entered for this one is still there.
        form.get_by_label("Coefficient", exact=True).fill("1.9")
        form.get_by_label("Model", exact=True).select_option("component")
        expect(form.get_by_label("Coefficient", exact=True)).to_have_count(0)
        form.get_by_label("Model", exact=True).select_option("feathered-shaft")
        expect(form.get_by_label("Coefficient", exact=True)).to_have_value("1.9", timeout=LOADING)
