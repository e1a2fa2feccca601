"""The registry: what is installed is found, checked as a whole, and made into instances."""

from collections.abc import Mapping
from dataclasses import FrozenInstanceError, dataclass
from importlib.metadata import EntryPoint, distributions
from pathlib import Path
from textwrap import dedent
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from arrowloft.plugin import (
    Array,
    Arrow,
    CaseError,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    ModelFault,
    ParameterError,
    PluginFaults,
    Registry,
    Source,
    UnknownModel,
    parameter,
)


@dataclass(frozen=True, kw_only=True)
class Knots(DragModel):
    """Mean of the knots, m2."""

    name = "knots"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)
    default_uncertainty = 0.1
    example = MappingProxyType({"knots": [1e-5, 2e-5]})

    knots: Array = parameter("Knots.", "area", array=True, low=0.0)

    def __post_init__(self) -> None:
        """Refuse three knots; trip over four; speak of ropes at five."""
        if len(self.knots) == 3:
            raise ParameterError("knots", "must not be three")
        if len(self.knots) == 4:
            raise KeyError("four")
        if len(self.knots) == 5:
            raise ParameterError("ropes", "must not be five")

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return np.full_like(flow.airspeed, self.knots.mean())


@dataclass(frozen=True, kw_only=True)
class Fixed(LaunchModel):
    """A fixed speed."""

    name = "fixed"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)

    speed: float = parameter("Speed.", "speed", default=60.0, low=1.0)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        return LaunchSpeed(self.speed, 0.5)


SOUND = """
    from dataclasses import dataclass
    from arrowloft.plugin import *

    @dataclass(frozen=True, kw_only=True)
    class Model(DragModel):
        '''No drag.'''
        name = {name!r}
        version = "1"
        sources = (Source("Invented for this test", "derived"),)
        default_uncertainty = 0.0

        def drag_area(self, flow, arrow):
            return 0.0 * flow.airspeed
"""


def install(
    folder: Path, distribution: str, drag: Mapping[str, str], modules: Mapping[str, str]
) -> None:
    """Lay down a distribution with entry points and modules, as an installer would."""
    info = folder / f"{distribution}-2.5.dist-info"
    info.mkdir()
    header = f"Metadata-Version: 2.1\nName: {distribution}\nVersion: 2.5\n"
    (info / "METADATA").write_text(header)
    lines = [f"{name} = {value}" for name, value in drag.items()]
    (info / "entry_points.txt").write_text("\n".join(["[arrowloft.drag_models]", *lines]))
    for name, text in modules.items():
        (folder / f"{name}.py").write_text(dedent(text))


def points_in(folder: Path) -> list[EntryPoint]:
    return [point for found in distributions(path=[str(folder)]) for point in found.entry_points]


def test_installed_models_are_found_with_their_origin(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    modules = {"reg_zeta": SOUND.format(name="zeta"), "reg_alpha": SOUND.format(name="alpha-two")}
    install(tmp_path, "twins", {"zeta": "reg_zeta:Model", "alpha-two": "reg_alpha:Model"}, modules)
    monkeypatch.syspath_prepend(str(tmp_path))
    registry = Registry.discover(points_in(tmp_path))
    assert registry.names("drag") == ("alpha-two", "zeta")
    assert registry.names("launch") == ()
    assert str(registry.origin("drag", "zeta")) == "twins 2.5"
    # Without an argument, whatever stands on the path is read: the twins are there too.
    assert {"alpha-two", "zeta"} <= set(Registry.discover().names("drag"))


def test_every_fault_of_every_distribution_is_in_one_message(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    modules = {
        "flt_good": SOUND.format(name="good"),
        "flt_clash": SOUND.format(name="clash"),
        "flt_raise": "raise RuntimeError('no licence')",
        "flt_exit": "raise SystemExit(3)",
        "flt_leave": "raise SystemExit",
        "flt_stop": "raise KeyboardInterrupt",
        "flt_mute": "raise type('Mute', (Exception,), {'__str__': lambda self: 1 / 0})",
        "flt_build": SOUND.format(name="build")
        + "\n        def __post_init__(self):\n            raise SystemExit\n",
        "flt_bare": SOUND.format(name="bare").replace(
            'Source("Invented for this test", "derived"),', ""
        ),
    }
    points = {
        "good": "flt_good:Model",
        "clash": "flt_clash:Model",
        "away": "flt_nowhere:Model",
        "lost": "flt_good:Missing",
        "raise": "flt_raise:Model",
        "exit": "flt_exit:Model",
        "leave": "flt_leave:Model",
        "stop": "flt_stop:Model",
        "mute": "flt_mute:Model",
        "build": "flt_build:Model",
        "bare": "flt_bare:Model",
        "renamed": "flt_good:Model",
    }
    install(tmp_path, "first", points, modules)
    install(tmp_path, "second", {"clash": "flt_clash:Model"}, {})
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(PluginFaults) as caught:
        Registry.discover(points_in(tmp_path))
    lines = str(caught.value).splitlines()[1:]
    expected = [
        "first 2.5, arrowloft.drag_models:away: cannot be loaded from 'flt_nowhere:Model'",
        "first 2.5, arrowloft.drag_models:lost: cannot be loaded from 'flt_good:Missing'",
        "first 2.5, arrowloft.drag_models:raise: cannot be loaded from 'flt_raise:Model': "
        "RuntimeError: no licence",
        "first 2.5, arrowloft.drag_models:exit: cannot be loaded from 'flt_exit:Model': "
        "SystemExit: 3",
        "first 2.5, arrowloft.drag_models:leave: cannot be loaded from 'flt_leave:Model': "
        "SystemExit: it gives no reason",
        "first 2.5, arrowloft.drag_models:stop: cannot be loaded from 'flt_stop:Model': "
        "KeyboardInterrupt: it gives no reason",
        "first 2.5, arrowloft.drag_models:mute: cannot be loaded from 'flt_mute:Model': "
        "Mute: what it says raises ZeroDivisionError",
        "first 2.5, arrowloft.drag_models:build: cannot be examined: SystemExit: it gives no",
        "first 2.5, arrowloft.drag_models:bare: has no sources",
        "first 2.5, arrowloft.drag_models:renamed: the name 'good' differs from the entry",
        "second 2.5, arrowloft.drag_models:clash: the drag model of first 2.5 is called 'clash'",
    ]
    for start in expected:
        assert [line for line in lines if line.strip().startswith(start)], start
    assert len(lines) == len(expected) == len(caught.value.faults)


def test_a_dangling_entry_point_without_distribution_is_named() -> None:
    point = EntryPoint("gone", "arrowloft_nowhere:Model", "arrowloft.launch_models")
    with pytest.raises(PluginFaults, match=r"unknown distribution, arrowloft\.launch_models:gone"):
        Registry.discover([point])


def test_models_of_both_kinds_may_share_a_name() -> None:
    launch = dataclass(frozen=True, kw_only=True)(
        type("Named", (Fixed,), {"__doc__": "Named.", "name": "knots"})
    )
    registry = Registry.of(Knots, launch)
    assert registry.get("drag", "knots") is Knots
    assert registry.get("launch", "knots") is launch


def test_given_classes_are_verified_too() -> None:
    bad = dataclass(frozen=True, kw_only=True)(
        type("Bad", (Fixed,), {"__doc__": "Bad.", "sources": ()})
    )
    with pytest.raises(PluginFaults) as caught:
        Registry.of(Knots, Fixed, bad, int)  # type: ignore[arg-type]
    text = str(caught.value)
    assert "has no sources" in text
    assert text.count("is called 'fixed' too") == 1
    assert "does not derive from DragModel or LaunchModel" in text


def test_a_class_that_cannot_be_examined_is_a_fault_not_a_crash() -> None:
    odd = dataclass(frozen=True, kw_only=True)(
        type(
            "Odd",
            (Fixed,),
            {
                "__doc__": "Odd.",
                "__annotations__": {"two": str},
                "two": parameter("Two.", "choice", default="a", choices=(["a"], ["b"])),  # type: ignore[arg-type]
            },
        )
    )
    with pytest.raises(PluginFaults, match="cannot be examined: TypeError"):
        Registry.of(odd)


def test_an_unknown_model_names_those_there_are() -> None:
    registry = Registry.of(Knots, Fixed)
    for call in (registry.get, registry.origin, lambda *given: registry.build(*given, {})):
        with pytest.raises(UnknownModel) as caught:
            call("drag", "fixed")
        assert (caught.value.kind, caught.value.name) == ("drag", "fixed")
        assert caught.value.available == ("knots",)
    with pytest.raises(UnknownModel):
        registry.get("sight", "fixed")


def test_the_registry_cannot_be_changed() -> None:
    registry = Registry.of(Knots)
    with pytest.raises(FrozenInstanceError):
        registry.models = {}  # type: ignore[misc]
    with pytest.raises(TypeError):
        registry.models["drag"]["knots"] = Knots  # type: ignore[index]


def test_values_become_an_instance() -> None:
    registry = Registry.of(Knots, Fixed)
    given = [1e-5, 3e-5]
    model = registry.build("drag", "knots", {"knots": given})
    given[0] = 9.0
    flow = Flow(np.full((2, 3), 50.0), 1.2, 1.8e-5, 340.0)
    area = model.drag_area(flow, Arrow(mass=0.02, shaft_diameter=0.005))
    np.testing.assert_allclose(area, np.full((2, 3), 2e-5))
    assert registry.build("launch", "fixed", {}) == Fixed(speed=60.0)


@pytest.mark.parametrize(
    "parameters", [{}, {"knots": [1.0] * 3}, {"knots": "x"}, {"knots": [1.0], "spin": 1.0}]
)
def test_parameters_that_do_not_fit_pass_as_such(parameters: Mapping[str, Any]) -> None:
    with pytest.raises(ParameterError):
        Registry.of(Knots).build("drag", "knots", parameters)


def test_a_constructor_that_names_a_parameter_nobody_gave_is_at_fault() -> None:
    with pytest.raises(ModelFault, match="raised ParameterError for 'ropes', which is none"):
        Registry.of(Knots).build("drag", "knots", {"knots": [1.0] * 5})


def test_any_other_exception_of_a_constructor_names_the_model() -> None:
    with pytest.raises(ModelFault) as caught:
        Registry.of(Knots).build("drag", "knots", {"knots": [1.0] * 4})
    assert (caught.value.kind, caught.value.name) == ("drag", "knots")
    assert "KeyError: 'four'" in caught.value.message
    assert not isinstance(caught.value, CaseError)
