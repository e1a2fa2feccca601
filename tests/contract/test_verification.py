"""Verification: a sound model has no fault; each breach of the contract is named."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from arrowloft import units
from arrowloft.plugin import (
    Array,
    Arrow,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    ParameterError,
    Source,
    Validity,
    cross_section,
    parameter,
)
from arrowloft.plugin.validity import QUANTITIES
from arrowloft.plugin.verification import faults_of


@dataclass(frozen=True, kw_only=True)
class Sound(DragModel):
    """Cd * A, with one parameter of every sort."""

    name = "sound-twin"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)
    validity = (Validity("reynolds", 1e3, np.inf), Validity("mach", 0.0, 0.5, "error", "why"))
    default_uncertainty = 0.2
    example = MappingProxyType({"coefficient": 2.0})

    coefficient: float = parameter("Drag coefficient.", low=0.0, high=10.0)
    knots: Array = parameter("Knots.", default=(1.0, 2.0), array=True, least=2, most=3)
    layer: str = parameter("Layer.", "choice", default="one", choices=("one", "two"))
    reach: float | None = parameter("Reach.", "length", default=None, low=0.0)
    cache: dict[str, float] = field(init=False, repr=False, default_factory=dict)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return self.coefficient * cross_section(arrow) * np.ones_like(flow.airspeed)


@dataclass(frozen=True, kw_only=True)
class SoundLaunch(LaunchModel):
    """A fixed speed."""

    name = "sound-launch"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)
    validity = (Validity("arrow_mass", 0.01, 0.05),)

    speed: float = parameter("Speed.", "speed", default=60.0, low=1.0)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        return LaunchSpeed(self.speed, 0.5)


def drag_faults(model: Any, name: str | None = None) -> list[str]:
    return faults_of(model, kind="drag", entry_point_name=name or getattr(model, "name", "x"))


def twin(**changed: Any) -> type[DragModel]:
    """The sound model with attributes of the class changed."""
    namespace = {"__doc__": "A twin.", **changed}
    return dataclass(frozen=True, kw_only=True)(type("Twin", (Sound,), namespace))


def with_parameter(*declared: Any, **options: Any) -> type[DragModel]:
    """The sound model with one parameter more."""
    return twin(
        __annotations__={"extra": Any},
        extra=parameter(*declared, **options),
    )


def test_sound_models_have_no_fault() -> None:
    assert drag_faults(Sound) == []
    assert drag_faults(twin()) == []
    assert faults_of(SoundLaunch, kind="launch", entry_point_name="sound-launch") == []


@pytest.mark.parametrize("candidate", [7, None, "Sound", Sound(coefficient=1.0), lambda: Sound])
def test_what_is_no_class_is_refused(candidate: Any) -> None:
    assert "not a class" in drag_faults(candidate, "sound-twin")[0]


@pytest.mark.parametrize("candidate", [int, SoundLaunch, Source])
def test_a_class_of_another_kind_is_refused(candidate: type) -> None:
    assert "does not derive from DragModel" in drag_faults(candidate, "sound-launch")[0]


def test_what_is_no_frozen_keyword_only_dataclass_is_refused() -> None:
    plain = type("Plain", (Sound,), {"__doc__": "Plain."})
    positional = dataclass(frozen=True)(
        type(
            "Positional",
            (DragModel,),
            {
                **{key: vars(Sound)[key] for key in ("name", "version", "sources", "drag_area")},
                "__doc__": "Positional.",
                "default_uncertainty": 0.1,
                "__annotations__": {"one": float},
                "one": parameter("One.", default=1.0),
            },
        )
    )
    thawed = dataclass(kw_only=True)(
        type("Thawed", (DragModel,), {**_members(Sound), "__doc__": "Thawed."})
    )
    assert "not a dataclass" in "".join(drag_faults(plain))
    assert drag_faults(positional) == ["is not a keyword-only dataclass (kw_only=True)"]
    assert drag_faults(thawed) == ["is not a frozen dataclass"]


def _members(model: type) -> dict[str, Any]:
    """What the author of a model without parameters writes."""
    names = ("name", "version", "sources", "default_uncertainty", "drag_area")
    return {name: vars(model)[name] for name in names}


def test_an_abstract_method_and_a_wrong_signature_are_named() -> None:
    members = {**_members(Sound), "__doc__": "Lacking."}
    del members["drag_area"]
    lacking = dataclass(frozen=True, kw_only=True)(type("Lacking", (DragModel,), members))
    assert drag_faults(lacking) == ["does not write the method drag_area"]
    short = twin(drag_area=lambda self, flow: flow.airspeed)
    assert drag_faults(short) == ["drag_area does not take (self, flow, arrow)"]


def test_a_generated_docstring_is_none() -> None:
    assert drag_faults(twin(__doc__=None)) == ["has no docstring, which is its public description"]
    assert "no docstring" in drag_faults(twin(__doc__="  "))[0]


@pytest.mark.parametrize(
    ("changed", "part"),
    [
        ({"name": ""}, "has no name"),
        ({"name": 3}, "has no name"),
        ({"name": "Sound"}, "'Sound' is not lower-case words"),
        ({"name": "two_words"}, "'two_words' is not lower-case words"),
        ({"name": "a--b"}, "'a--b' is not lower-case words"),
        ({"name": "other"}, "'other' differs from the entry point's, 'sound-twin'"),
        ({"version": ""}, "has no version"),
        ({"version": 1}, "has no version"),
        ({"sources": ()}, "has no sources"),
        ({"sources": [Source("A list")]}, "has no sources (a tuple"),
        ({"sources": ("A book, 1999",)}, "'A book, 1999' is not a Source"),
        ({"sources": (Source(" "),)}, "a source has no title"),
        ({"sources": (Source("T", "hearsay"),)}, "unknown standing 'hearsay'"),  # type: ignore[arg-type]
        ({"validity": None}, "validity is not a tuple"),
        ({"validity": ((1, 2),)}, "is not a Validity"),
        ({"validity": (Validity("spin", 0.0, 1.0),)}, "unknown quantity 'spin'"),
        ({"validity": (Validity("arrow_mass", 0.0, 1.0),)}, "unknown quantity 'arrow_mass'"),
        ({"validity": (Validity("mach", 1.0, 1.0),)}, "1.0 is not below 1.0"),
        ({"validity": (Validity("mach", 0.0, np.nan),)}, "0.0 is not below nan"),
        ({"validity": (Validity("mach", 0.0, 1.0, "warn"),)}, "outside is 'warn'"),  # type: ignore[arg-type]
        ({"default_uncertainty": -0.1}, "default_uncertainty is -0.1"),
        ({"default_uncertainty": np.nan}, "default_uncertainty is nan"),
        ({"default_uncertainty": np.inf}, "default_uncertainty is inf"),
        ({"default_uncertainty": "0.1"}, "default_uncertainty is '0.1'"),
        ({"default_uncertainty": None}, "has no default_uncertainty"),
        ({"example": None}, "example is not a mapping"),
        ({"example": {}}, "example lacks the required parameter 'coefficient'"),
        ({"example": {"coefficient": 11.0}}, "'coefficient' is 11.0, above the greatest"),
        ({"example": {"coefficient": 1.0, "spin": 2.0}}, "'spin' is unknown"),
        ({"example": {"coefficient": 1.0, "knots": [1.0]}}, "'knots' has 1 values"),
    ],
)
def test_a_wrong_attribute_is_the_only_fault(changed: Mapping[str, Any], part: str) -> None:
    faults = drag_faults(twin(**changed), "sound-twin")
    assert len(faults) == 1, faults
    assert part in faults[0]


def test_a_missing_attribute_is_named() -> None:
    members = _members(Sound)
    for name in ("version", "sources", "default_uncertainty", "name"):
        rest = {key: value for key, value in members.items() if key != name}
        model = dataclass(frozen=True, kw_only=True)(
            type("Lacking", (DragModel,), {**rest, "__doc__": "Lacking."})
        )
        (fault,) = drag_faults(model, "sound-twin")
        assert f"has no {name}" in fault


@pytest.mark.parametrize(
    ("declared", "part"),
    [
        (with_parameter("", default=1.0), "has no description"),
        (with_parameter("Spin.", "rotation", default=1.0), "unknown dimension 'rotation'"),
        (with_parameter("Two.", default=1.0, choices=("a",)), "which need the dimension 'choice'"),
        (with_parameter("Two.", "choice", default="a"), "a choice without choices"),
        (with_parameter("Two.", "choice", default="a", choices=("a", "a")), "with one twice"),
        (with_parameter("Two.", "choice", default="c", choices=("a", "b")), "not one of a, b"),
        (with_parameter("Two.", "choice", default="a", choices=("a",), low=1), "neither bounds"),
        (with_parameter("F.", "choice", default="a", choices=("a",), free=True), "no fit can"),
        (with_parameter("Two.", "choice", default="a", choices=("a", 1)), "not a word"),
        (with_parameter("High.", default=3.0, high=2.0), "above the greatest allowed, 2.0"),
        (with_parameter("Low.", default=-3.0, low=2.0), "below the least allowed, 2.0"),
        (with_parameter("Crossed.", default=2.5, low=3.0, high=2.0), "bounds crossed"),
        (with_parameter("Bound.", default=2.5, low="3"), "bounds that are not numbers"),
        (with_parameter("Word.", default="2.5"), "is '2.5', not a finite number"),
        (with_parameter("Truth.", default=True), "is True, not a finite number"),
        (with_parameter("Nan.", default=np.nan), "is nan, not a finite number"),
        (with_parameter("List.", default=(1.0, 2.0)), "is (1.0, 2.0), not a finite number"),
        (with_parameter("One.", default=1.0, array=True), "is 1.0, not a list"),
        (with_parameter("Few.", default=(1.0,), array=True, least=2), "has 1 values, not from 2"),
        (with_parameter("Far.", default=(1.0, 9.0), array=True, high=2.0), "is 9.0, above"),
        (with_parameter("None.", default=(1.0,), array=True, least=3, most=2), "from 3 to 2"),
    ],
)
def test_a_wrong_parameter_is_the_only_fault(declared: type[DragModel], part: str) -> None:
    faults = drag_faults(declared)
    assert len(faults) == 1, faults
    assert part in faults[0]
    assert faults[0].startswith("parameter 'extra' ")


def test_fields_beside_parameters_are_refused() -> None:
    undeclared = twin(__annotations__={"spin": float}, spin=1.0)
    assert drag_faults(undeclared) == ["the field 'spin' is not declared with parameter()"]
    taken = twin(__annotations__={"validity": float}, validity=parameter("V.", default=1.0))
    assert "'validity' is taken" in "".join(drag_faults(taken))
    hidden = twin(__annotations__={"_spin": float}, _spin=parameter("S.", default=1.0))
    assert "'_spin' is not lower-case words joined by underscores" in "".join(drag_faults(hidden))

    def constructor(self: Any, *, coefficient: float, spin: float) -> None: ...

    odd = dataclass(frozen=True, kw_only=True, init=False)(
        type("Odd", (Sound,), {"__doc__": "Odd.", "__init__": constructor})
    )
    assert "the constructor takes 'spin', which is not a field" in drag_faults(odd)


def test_every_fault_is_reported_at_once() -> None:
    faults = drag_faults(twin(name="Bad", version="", sources=(), default_uncertainty=-1))
    assert len(faults) == 4


def test_a_constructor_that_refuses_its_own_example_is_refused() -> None:
    def refuse(self: Any) -> None:
        raise ParameterError("coefficient", "never fits")

    (fault,) = drag_faults(twin(__post_init__=refuse))
    assert fault == "refuses its own example: ParameterError: coefficient: never fits"


def test_an_array_parameter_is_held_as_a_read_only_array() -> None:
    given = [1.0, 2.0, 3.0]
    for model, expected in (
        (Sound(coefficient=1.0), (1.0, 2.0)),
        (Sound.of({"coefficient": 1.0, "knots": given}), given),
    ):
        assert isinstance(model.knots, np.ndarray)
        assert not model.knots.flags.writeable
        assert model.knots.tolist() == list(expected)
    assert Sound.parameters()["knots"].default == (1.0, 2.0)
    assert not Sound.parameters()["knots"].required


@pytest.mark.parametrize(
    ("values", "name"),
    [
        ({}, "coefficient"),
        ({"coefficient": 1.0, "spin": 1.0}, "spin"),
        ({"coefficient": 1.0, "knots": "many"}, "knots"),
        ({"coefficient": 1.0, "knots": 3.0}, "knots"),
        ({"coefficient": 1.0, "knots": []}, "knots"),
        ({"coefficient": 1.0, "knots": [[1.0], [2.0]]}, "knots"),
        ({"coefficient": 1.0, "knots": [[1.0], 2.0]}, "knots"),
    ],
)
def test_values_that_make_no_instance_name_the_parameter(
    values: Mapping[str, Any], name: str
) -> None:
    with pytest.raises(ParameterError) as caught:
        Sound.of(values)
    assert caught.value.parameter == name


def test_the_quantities_of_validity_have_dimensions_of_the_table() -> None:
    known = {*units.DIMENSIONS, None}
    for kind in QUANTITIES.values():
        for quantity in kind.values():
            assert quantity.dimension in known
            assert quantity.description
