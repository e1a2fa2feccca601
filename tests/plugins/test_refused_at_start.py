"""Distributions that break the contract: the service does not start, and says all that is wrong."""

from pathlib import Path

import pytest
from strangers import PATIENCE, Distribution, start

from arrowloft import __version__
from arrowloft.app import create_app
from arrowloft.plugin import PluginFaults

SOUND = '''
    from dataclasses import dataclass
    from arrowloft.plugin import *

    @dataclass(frozen=True, kw_only=True)
    class Model(DragModel):
        """A drag area of 0.4 cm2."""

        name = "{name}"
        version = "1"
        sources = (Source("Invented for this test", "derived"),)
        default_uncertainty = 0.1

        area: float = parameter("Drag area.", "area", default=4e-5, low=0.0)

        def drag_area(self, flow, arrow):
            return self.area + 0.0 * flow.airspeed
'''
SOURCE = 'Source("Invented for this test", "derived"),'


def stranger(name: str, model: str, module: str, text: str = SOUND) -> Distribution:
    """A distribution of one drag model in one module."""
    return Distribution(
        name, drag={model: f"{module}:Model"}, modules={module: text.format(name=model)}
    )


BAD = [
    Distribution("dangling", launch={"gone": "dangling_nowhere:Model"}),
    stranger("namesake", "constant", "namesake_model"),
    stranger("elder", "twin", "elder_model"),
    stranger("younger", "twin", "younger_model"),
    stranger("sourceless", "sourceless", "sourceless_model", SOUND.replace(SOURCE, "")),
    stranger("wordless", "wordless", "wordless_model", SOUND.replace('"Drag area."', '""')),
]
SAID = [
    "dangling 2.5, arrowloft.launch_models:gone: cannot be loaded from 'dangling_nowhere:Model': "
    "ModuleNotFoundError: No module named 'dangling_nowhere'",
    "namesake 2.5, arrowloft.drag_models:constant: the drag model of arrowloft "
    f"{__version__} is called 'constant' too; rename or remove one",
    "younger 2.5, arrowloft.drag_models:twin: the drag model of elder 2.5 is called 'twin' too; "
    "rename or remove one",
    "sourceless 2.5, arrowloft.drag_models:sourceless: has no sources (a tuple of at least one "
    "Source)",
    "wordless 2.5, arrowloft.drag_models:wordless: parameter 'area' has no description",
]


def test_every_fault_of_every_stranger_stops_the_start_in_one_message(tmp_path: Path) -> None:
    for distribution in BAD:
        distribution.lay_down(tmp_path / "path")
    service = start(tmp_path / "service.log", folders=[tmp_path / "path"])
    try:
        assert service.process.wait(PATIENCE) != 0
    finally:
        service.end()
    said = service.log.read_text()
    _, message = said.split(f"The installed models have {len(SAID)} fault(s):\n")
    lines = [line.strip() for line in message.splitlines() if line.startswith("  ")]
    assert sorted(lines) == sorted(SAID)


def test_a_sound_stranger_is_served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the bad twins are twins of."""
    stranger("sound", "sound", "sound_model").lay_down(tmp_path)
    monkeypatch.syspath_prepend(str(tmp_path))
    models = create_app().test_client().get("/v1/models").get_json()["models"]
    assert [model["origin"] for model in models if model["name"] == "sound"] == ["sound 2.5"]


@pytest.mark.parametrize(
    ("module", "slow", "said"),
    [
        ("slow_import", "\n    import time; time.sleep(60)" + SOUND, "cannot be loaded from"),
        (
            "slow_class",
            SOUND + "\n        def __post_init__(self):\n            import time; time.sleep(60)\n",
            "cannot be examined: TookTooLong",
        ),
    ],
)
def test_a_minute_at_the_start_is_a_fault_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, module: str, slow: str, said: str
) -> None:
    monkeypatch.setattr("arrowloft.plugin.registry.LOAD_SECONDS", 2.0)
    stranger("sluggish", "sluggish", module, slow).lay_down(tmp_path)
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(PluginFaults) as caught:
        create_app()
    (fault,) = caught.value.faults
    assert str(fault).startswith(f"sluggish 2.5, arrowloft.drag_models:sluggish: {said}")
    assert str(fault).endswith("took longer than 2 s")
