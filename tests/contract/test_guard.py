"""The guard: a sound answer passes untouched, a bad one becomes a fault that names its model."""

import pickle
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from arrowloft.api import shared
from arrowloft.plugin import (
    Air,
    Array,
    Arrow,
    Bow,
    CaseError,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    ModelFault,
    Note,
    ParameterError,
    Validity,
    guarded_drag_notes,
    guarded_launch,
    guarded_launch_notes,
    guarded_law,
    guarded_uncertainty,
    parameter,
)
from arrowloft.plugin.guard import MEMBERS

LANES = 5
AIR = Air(288.15, 101325.0, 0.0, np.full(LANES, 1.225), 1.789e-5, 340.3)
BOW = Bow(peep_height=0.11, draw_weight=np.full(LANES, 200.0))
ARROW = Arrow(mass=np.full(LANES, 0.02), shaft_diameter=np.full(LANES, 0.0055), length=0.7)
ONE = Arrow(mass=0.02, shaft_diameter=0.0055)


@dataclass(frozen=True, kw_only=True)
class Scripted(DragModel):
    """Answers as it is told to."""

    name = "scripted"
    default_uncertainty = 0.1

    answer: Callable[[Flow, Arrow], Any]
    uncertainty: Any = 0.1
    said: Any = ()
    ranges: Any = ()
    table: float = parameter("Declared, and looked at by no one.", default=1.0)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return self.answer(flow, arrow)

    def relative_uncertainty(self) -> float:
        return self.uncertainty

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        return self.said() if callable(self.said) else self.said

    def limits(self) -> tuple[Validity, ...]:
        return self.ranges


@dataclass(frozen=True, kw_only=True)
class ScriptedLaunch(LaunchModel):
    """Answers as it is told to."""

    name = "scripted-launch"

    answer: Callable[[LaunchCase], Any]
    ranges: Any = ()
    table: float = parameter("Declared, and looked at by no one.", default=1.0)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        return self.answer(case)

    def limits(self) -> tuple[Validity, ...]:
        return self.ranges


def flow(*shape: int) -> Flow:
    return Flow(np.full(shape, 50.0), AIR.density, AIR.viscosity, AIR.speed_of_sound)


def filled(value: float, place: tuple[int, ...] = (1, 2)) -> Callable[[Flow, Arrow], Array]:
    """A law of area 1e-5 with one value elsewhere."""

    def answer(flow: Flow, arrow: Arrow) -> Array:
        area = np.full(flow.airspeed.shape, 1e-5)
        area[place] = value
        return area

    return answer


def raiser(error: BaseException) -> Callable[..., Any]:
    def answer(*_: Any) -> Any:
        raise error

    return answer


def no_drag(flow: Flow, arrow: Arrow) -> Array:
    return 0.0 * flow.airspeed


def case(arrow: Arrow = ARROW) -> LaunchCase:
    return LaunchCase(BOW, arrow, AIR, no_drag)


@pytest.mark.parametrize("value", [0.0, 1e-5, 1e300, 5e-324])
def test_a_sound_area_passes_as_it_is(value: float) -> None:
    area = np.full((8, LANES), value)
    assert guarded_law(Scripted(answer=lambda *_: area))(flow(8, LANES), ARROW) is area


@pytest.mark.parametrize("shape", [(), (LANES,), (1, 1), (8, LANES), (0,), (3, 0)])
def test_every_shape_passes(shape: tuple[int, ...]) -> None:
    given = Flow(np.full(shape, 50.0), 1.225, 1.789e-5, 340.3)
    law = guarded_law(Scripted(answer=lambda flow, arrow: flow.airspeed * 1e-7))
    assert np.shape(law(given, ONE)) == shape


@pytest.mark.parametrize("place", [(0, 0), (3, 4), (7, LANES - 1)])
@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, -1e-30])
def test_one_bad_value_anywhere_is_a_fault(value: float, place: tuple[int, int]) -> None:
    law = guarded_law(Scripted(answer=filled(value, place)))
    with pytest.raises(ModelFault, match="not finite or negative") as caught:
        law(flow(8, LANES), ARROW)
    assert (caught.value.kind, caught.value.name) == ("drag", "scripted")


@pytest.mark.parametrize(
    ("answer", "part"),
    [
        (lambda flow, arrow: flow.airspeed[0] * 0, f"shape ({LANES},), not (8, {LANES})"),
        (lambda flow, arrow: (flow.airspeed * 0).T, "shape"),
        (lambda flow, arrow: np.zeros((1, 8, LANES)), "shape"),
        (lambda flow, arrow: np.float64(0.0), "shape"),
        (lambda flow, arrow: 0.0, "a float, not floats"),
        (lambda flow, arrow: None, "a NoneType, not floats"),
        (lambda flow, arrow: (flow.airspeed * 0).tolist(), "a list, not floats"),
        (lambda flow, arrow: flow.airspeed > 0, "an array of bool"),
        (lambda flow, arrow: flow.airspeed.astype(int), "an array of int64"),
        (lambda flow, arrow: flow.airspeed.astype(complex), "an array of complex128"),
        (lambda flow, arrow: flow.airspeed.astype(object), "an array of object"),
        (raiser(ZeroDivisionError("by nought")), "raised ZeroDivisionError: by nought"),
        (raiser(RecursionError("deep")), "raised RecursionError"),
        (raiser(MemoryError()), "raised MemoryError"),
    ],
)
def test_a_wrong_kind_of_answer_is_a_fault(answer: Callable[..., Any], part: str) -> None:
    with pytest.raises(ModelFault) as caught:
        guarded_law(Scripted(answer=answer))(flow(8, LANES), ARROW)
    assert part in caught.value.message


@pytest.mark.parametrize(
    "error",
    [
        CaseError("arrow/length", "is needed"),
        CaseError("air/temperature", "is too cold"),
        CaseError("bow", "is unknown"),
        CaseError("drag", "is needed"),
        ParameterError("table", "is too short"),
    ],
)
def test_errors_of_the_caller_pass(error: Exception) -> None:
    with pytest.raises(type(error)) as caught:
        guarded_law(Scripted(answer=raiser(error)))(flow(8, LANES), ARROW)
    assert caught.value is error
    with pytest.raises(type(error)) as caught:
        guarded_launch(ScriptedLaunch(answer=raiser(error)), case())
    assert caught.value is error


@pytest.mark.parametrize(
    ("error", "part"),
    [
        (CaseError("arrow/lenght", "is needed"), "CaseError for 'arrow/lenght', which is no"),
        (CaseError("air/density", "is low"), "CaseError for 'air/density', which is no"),
        (CaseError("bow/draw_weight/0", "is low"), "'bow/draw_weight/0', which is no member"),
        (CaseError("/bow/draw_weight", "is low"), "'/bow/draw_weight', which is no member"),
        (CaseError("", "is low"), "CaseError for '', which is no member"),
        (CaseError(None, "is low"), "CaseError for None, which is no member"),  # type: ignore[arg-type]
        (ParameterError("tabel", "is low"), "ParameterError for 'tabel', which is none of its"),
        (ParameterError("answer", "is low"), "ParameterError for 'answer', which is none of its"),
        (ParameterError(["table"], "is low"), "for ['table'], which is none of its"),  # type: ignore[arg-type]
    ],
)
def test_errors_that_name_what_nobody_can_give_are_the_models(error: Exception, part: str) -> None:
    calls = (
        lambda: guarded_law(Scripted(answer=raiser(error)))(flow(8, LANES), ARROW),
        lambda: guarded_launch(ScriptedLaunch(answer=raiser(error)), case()),
        lambda: guarded_drag_notes(Scripted(answer=no_drag, said=raiser(error)), flow(2), ONE),
    )
    for call in calls:
        with pytest.raises(ModelFault) as caught:
            call()
        assert part in caught.value.message
        assert error.message in caught.value.message  # type: ignore[attr-defined]


def test_a_case_error_may_name_every_member_that_a_request_has() -> None:
    schemas = {"bow": shared.Bow, "arrow": shared.Arrow, "air": shared.Air}
    given = {f"{part}/{name}" for part, schema in schemas.items() for name in schema().fields}
    assert given | {*schemas, "drag"} == MEMBERS


def test_a_parameter_of_the_drag_beside_a_launch_stays_the_drags() -> None:
    """The launch model declares no parameter `table` here."""
    error = ParameterError("table", "is too short")
    law = guarded_law(Scripted(answer=raiser(error)))

    @dataclass(frozen=True, kw_only=True)
    class Undoing(LaunchModel):
        name = "undoing"

        def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
            case.drag(Flow(np.array([60.0]), 1.2, 1.8e-5, 340.0), ONE)
            return LaunchSpeed(60.0, 0.5)

    with pytest.raises(ParameterError) as caught:
        guarded_launch(Undoing(), replace(case(ONE), drag=law))
    assert (caught.value, caught.value.kind) == (error, "drag")


def test_a_model_that_fails_without_a_reason_is_told_so() -> None:
    with pytest.raises(ModelFault, match="raised SystemExit: it gives no reason"):
        guarded_law(Scripted(answer=raiser(SystemExit())))(flow(2), ONE)


def test_an_interrupt_is_no_fault() -> None:
    with pytest.raises(KeyboardInterrupt):
        guarded_law(Scripted(answer=raiser(KeyboardInterrupt())))(flow(8, LANES), ARROW)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_an_airspeed_that_is_not_finite_is_not_the_models_fault(bad: float) -> None:
    given = flow(8, LANES)
    given.airspeed[2, 3] = bad
    law = guarded_law(Scripted(answer=lambda flow, arrow: flow.airspeed * 1e-7))
    assert not np.isfinite(law(given, ARROW)[2, 3])
    with pytest.raises(ModelFault):
        guarded_law(Scripted(answer=filled(np.nan)))(given, ARROW)


def changers() -> Iterator[Any]:
    """Ways of a model to write into what it is given."""
    yield pytest.param(lambda flow, arrow: flow.airspeed.__setitem__(0, 1.0), id="airspeed")
    yield pytest.param(lambda flow, arrow: flow.density.__imul__(2.0), id="density")
    yield pytest.param(lambda flow, arrow: np.sqrt(arrow.mass, out=arrow.mass), id="mass")
    yield pytest.param(lambda flow, arrow: arrow.shaft_diameter.sort(), id="diameter")


@pytest.mark.parametrize("change", [*changers()])
def test_a_model_cannot_change_its_input(change: Callable[[Flow, Arrow], Any]) -> None:
    given = flow(8, LANES)
    kept = given.airspeed.copy(), ARROW.mass.copy(), AIR.density.copy()  # type: ignore[union-attr]

    def answer(flow: Flow, arrow: Arrow) -> Array:
        change(flow, arrow)
        return 0.0 * flow.airspeed

    with pytest.raises(ModelFault, match="must not change what it is given"):
        guarded_law(Scripted(answer=answer))(given, ARROW)
    for array, before in zip((given.airspeed, ARROW.mass, AIR.density), kept, strict=True):
        np.testing.assert_array_equal(array, before)


@pytest.mark.parametrize("answer", [no_drag, raiser(ValueError("no")), filled(np.nan)])
def test_arrays_are_as_writeable_afterwards_as_before(answer: Callable[..., Any]) -> None:
    base = np.full((8, LANES), 50.0)
    fixed = np.full(LANES, 0.02)
    fixed.flags.writeable = False
    views = Flow(base[::-1], base[0], base, 340.3)
    arrow = Arrow(mass=fixed, shaft_diameter=base[1], length=base[1])
    with suppress(ModelFault):
        guarded_law(Scripted(answer=answer))(views, arrow)
    arrays = (base, views.airspeed, views.density, arrow.shaft_diameter, fixed)
    assert [array.flags.writeable for array in arrays] == [True, True, True, True, False]  # type: ignore[union-attr]


@pytest.mark.parametrize("value", [np.nan, np.inf, -0.1, None, "0.1", True, np.zeros(2)])
def test_a_bad_uncertainty_is_a_fault(value: Any) -> None:
    with pytest.raises(ModelFault, match="relative_uncertainty"):
        guarded_uncertainty(Scripted(answer=no_drag, uncertainty=value))
    assert guarded_uncertainty(Scripted(answer=no_drag, uncertainty=np.float64(0.2))) == 0.2


@pytest.mark.parametrize("said", [None, ["note"], ("note",), raiser(ValueError("no"))])
def test_bad_notes_are_a_fault(said: Any) -> None:
    with pytest.raises(ModelFault):
        guarded_drag_notes(Scripted(answer=no_drag, said=said), flow(2), ONE)


def test_bad_limits_are_a_fault() -> None:
    ranges = (Validity("spin", 0.0, 1.0),)
    with pytest.raises(ModelFault, match="spin"):
        guarded_drag_notes(Scripted(answer=no_drag, ranges=ranges), flow(2), ONE)
    with pytest.raises(ModelFault, match="spin"):
        result = LaunchSpeed(60.0, 0.5)
        guarded_launch_notes(ScriptedLaunch(answer=no_drag, ranges=ranges), case(ONE), result)


@pytest.mark.parametrize(("arrow", "shape"), [(ONE, ()), (ARROW, (LANES,))])
def test_a_sound_launch_passes(arrow: Arrow, shape: tuple[int, ...]) -> None:
    note = Note("code", "message")

    def answer(case: LaunchCase) -> LaunchSpeed:
        energy = 0.5 * case.arrow.mass * 60.0**2
        speed = np.sqrt(2 * energy / case.arrow.mass)
        return LaunchSpeed(speed, 0 * speed, {"energy": (energy, "energy")}, (note,))  # type: ignore[dict-item]

    result = guarded_launch(ScriptedLaunch(answer=answer), case(arrow))
    assert np.shape(result.speed) == np.shape(result.standard_uncertainty) == shape
    assert isinstance(result.speed, np.ndarray if shape else float)
    np.testing.assert_allclose(result.speed, 60.0, rtol=1e-15)
    assert result.notes == (note,)


@pytest.mark.parametrize(
    ("result", "part"),
    [
        (LaunchSpeed(np.nan, 1.0), "speed is the value nan"),
        (LaunchSpeed(np.inf, 1.0), "speed is the value inf"),
        (LaunchSpeed(-60.0, 1.0), "speed is the value -60"),
        (LaunchSpeed(0.0, 1.0), "speed is 0, not above zero"),
        (LaunchSpeed(60.0, -1.0), "standard_uncertainty is the value -1"),
        (LaunchSpeed(60.0, np.nan), "standard_uncertainty is the value nan"),
        (LaunchSpeed(60.0, np.inf), "standard_uncertainty is the value inf"),
        (LaunchSpeed(np.full(3, 60.0), 1.0), "speed has the shape (3,), not ()"),
        (LaunchSpeed(60.0, np.ones(3)), "standard_uncertainty has the shape (3,), not ()"),
        (LaunchSpeed("60", 1.0), "speed is a str"),  # type: ignore[arg-type]
        (LaunchSpeed(True, 1.0), "speed is a bool"),
        (LaunchSpeed(None, 1.0), "speed is a NoneType"),  # type: ignore[arg-type]
        (LaunchSpeed(np.array(60 + 0j), 1.0), "an array of complex128"),  # type: ignore[arg-type]
        (LaunchSpeed(60.0, 1.0, {"e": (np.nan, "energy")}), "figure 'e' is the value nan"),
        (LaunchSpeed(60.0, 1.0, {"e": (1.0, "spin")}), "unknown dimension 'spin'"),
        (LaunchSpeed(60.0, 1.0, {"e": 1.0}), "figure 'e' is no (value, dimension)"),  # type: ignore[dict-item]
        (LaunchSpeed(60.0, 1.0, {"e": ("1", "energy")}), "figure 'e' is a str"),  # type: ignore[dict-item]
        (LaunchSpeed(60.0, 1.0, {}, ("note",)), "notes"),  # type: ignore[arg-type]
        (60.0, "a float, not a LaunchSpeed"),
        (None, "a NoneType, not a LaunchSpeed"),
    ],
)
def test_a_bad_launch_is_a_fault(result: Any, part: str) -> None:
    with pytest.raises(ModelFault) as caught:
        guarded_launch(ScriptedLaunch(answer=lambda _: result), case(ONE))
    assert (caught.value.kind, caught.value.name) == ("launch", "scripted-launch")
    assert part in caught.value.message


def test_one_bad_lane_of_a_launch_is_a_fault() -> None:
    for value in (np.nan, np.inf, 0.0, -1.0):
        speed = np.full(LANES, 60.0)
        speed[3] = value
        model = ScriptedLaunch(answer=lambda _, speed=speed: LaunchSpeed(speed, np.ones(LANES)))
        with pytest.raises(ModelFault, match="speed is"):
            guarded_launch(model, case())


def test_a_launch_that_raises_or_changes_its_case_is_a_fault() -> None:
    with pytest.raises(ModelFault, match="launch_speed raised KeyError"):
        guarded_launch(ScriptedLaunch(answer=raiser(KeyError("x"))), case())
    for change in (
        lambda case: case.bow.draw_weight.fill(1.0),
        lambda case: case.arrow.mass.fill(1.0),
        lambda case: case.air.density.fill(1.0),
    ):
        with pytest.raises(ModelFault, match="must not change"):
            guarded_launch(ScriptedLaunch(answer=change), case())
    assert BOW.draw_weight.flags.writeable  # type: ignore[union-attr]
    assert ARROW.mass.flags.writeable  # type: ignore[union-attr]


def test_a_fault_of_the_drag_beside_a_launch_stays_the_drags() -> None:
    law = guarded_law(Scripted(answer=filled(np.nan, (0,))))

    def answer(case: LaunchCase) -> LaunchSpeed:
        case.drag(Flow(np.array([60.0]), 1.2, 1.8e-5, 340.0), ONE)
        return LaunchSpeed(60.0, 0.5)

    with pytest.raises(ModelFault) as caught:
        guarded_launch(ScriptedLaunch(answer=answer), replace(case(ONE), drag=law))
    assert (caught.value.kind, caught.value.name) == ("drag", "scripted")


def test_a_fault_survives_pickling() -> None:
    fault = pickle.loads(pickle.dumps(ModelFault("drag", "x", "y")))
    assert (fault.kind, fault.name, fault.message) == ("drag", "x", "y")
