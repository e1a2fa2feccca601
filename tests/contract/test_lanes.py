"""Lanes of parameters in the contract: how they are held, refused, checked and noted."""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from arrowloft.plugin import (
    Air,
    Array,
    Arrow,
    Bow,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    ModelFault,
    OutsideValidity,
    ParameterError,
    Real,
    Registry,
    Source,
    Validity,
    cross_section,
    drag_notes,
    guarded_launch,
    guarded_law,
    guarded_uncertainty_by_lane,
    holds,
    launch_notes,
    parameter,
)
from arrowloft.plugin.verification import faults_of, lane_faults, limit_faults

ARROW = Arrow(mass=0.02, shaft_diameter=0.005)
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.8e-5, 340.0)


@dataclass(frozen=True, kw_only=True)
class Alone(DragModel):
    """Cd * A, one parameter of every sort, all common to the lanes."""

    name = "alone"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)
    default_uncertainty = 0.2
    example = MappingProxyType({"coefficient": 2.0})

    coefficient: Real = parameter("Drag coefficient.", low=0.0, high=10.0)
    other: Real | None = parameter("Another.", default=None, low=0.0)
    knots: Array = parameter("Knots.", default=(1.0, 2.0), array=True)
    layer: str = parameter("Layer.", "choice", default="one", choices=("one", "two"))

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return self.coefficient * cross_section(arrow) * np.ones_like(flow.airspeed)


@dataclass(frozen=True, kw_only=True)
class ByLane(Alone):
    """The same by lane; trusted above a Reynolds number of a thousand times the coefficient."""

    name = "by-lane"
    by_lane = True

    def relative_uncertainty(self) -> Any:
        """A tenth of the coefficient."""
        return self.coefficient / 10

    def limits(self) -> tuple[Validity, ...]:
        """One range a lane."""
        outside: Any = "error" if self.layer == "two" else "note"
        return (Validity("reynolds", 1e3 * self.coefficient, 1e5, outside),)


@dataclass(frozen=True, kw_only=True)
class Launch(LaunchModel):
    """A speed by lane."""

    name = "launch"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)
    by_lane = True

    speed: Real = parameter("Speed.", "speed", default=60.0, low=1.0)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        speed = self.speed + 0.0 * case.arrow.mass
        return LaunchSpeed(speed, 0.01 * speed, {"speed": (self.speed, "speed")})

    def limits(self) -> tuple[Validity, ...]:
        """Masses that go with the speed."""
        return (Validity("arrow_mass", 0.0, 1.2 / self.speed),)


def test_lanes_are_held_as_arrays_of_their_own_that_cannot_be_written_to() -> None:
    given = np.array([1.0, 2.0, 3.0])
    model = ByLane.of({"coefficient": given, "other": (1, 2, 3)})
    given[0] = 9.0
    assert isinstance(model.coefficient, np.ndarray) and isinstance(model.other, np.ndarray)
    assert model.coefficient.tolist() == [1.0, 2.0, 3.0]
    assert model.other.dtype == np.float64
    for held in (model.coefficient, model.other):
        with pytest.raises(ValueError, match="read-only"):
            held[0] = 1.0


def test_a_number_is_held_as_it_is_given() -> None:
    model = ByLane.of({"coefficient": 2, "other": None})
    assert model.coefficient == 2 and isinstance(model.coefficient, int)
    assert model.other is None


@pytest.mark.parametrize(
    ("model", "values", "name", "part"),
    [
        (Alone, {"coefficient": np.ones(3)}, "coefficient", "'alone' does not take lanes"),
        (Alone, {"coefficient": [1.0, 2.0]}, "coefficient", "'alone' does not take lanes"),
        (Alone, {"coefficient": 1.0, "layer": ["one"]}, "layer", "one value for all lanes"),
        (ByLane, {"coefficient": 1.0, "layer": ["one"]}, "layer", "it is a choice"),
        (ByLane, {"coefficient": np.ones((2, 2))}, "coefficient", "one number a lane"),
        (ByLane, {"coefficient": np.ones(0)}, "coefficient", "one number a lane"),
        (ByLane, {"coefficient": ["a", "b"]}, "coefficient", "one number a lane"),
        (ByLane, {"coefficient": np.array(1.0)}, "coefficient", "one number a lane"),
        (
            ByLane,
            {"coefficient": np.ones(3), "other": np.ones(4)},
            "other",
            "has 4 lanes and another parameter 3",
        ),
    ],
)
def test_lanes_that_cannot_be_are_refused(model: Any, values: Any, name: str, part: str) -> None:
    with pytest.raises(ParameterError) as caught:
        model.of(values)
    assert caught.value.parameter == name
    assert part in caught.value.message
    with pytest.raises(ParameterError):
        Registry.of(model).build("drag", model.name, values)


def test_a_list_for_all_lanes_and_one_lane_among_many_are_no_clash() -> None:
    model = ByLane.of({"coefficient": np.ones(3), "other": np.ones(1), "knots": np.ones(5)})
    assert model.knots.size == 5


def test_by_lane_is_true_or_false() -> None:
    for value in (1, "yes", None, np.True_):
        twin = dataclass(frozen=True, kw_only=True)(
            type("Twin", (Alone,), {"__doc__": "Twin.", "by_lane": value})
        )
        assert faults_of(twin, kind="drag", entry_point_name="alone") == [
            f"by_lane is {value!r}, not True or False"
        ]
    assert faults_of(ByLane, kind="drag", entry_point_name="by-lane") == []


def test_a_condition_holds_where_it_holds_in_every_lane() -> None:
    for yes in (True, np.True_, np.array([True, True]), np.array([])):
        assert holds(yes) is True
    for no in (False, np.False_, np.array([True, False])):
        assert holds(no) is False


def test_bad_lanes_are_counted_and_the_first_is_named() -> None:
    item = ByLane.parameters()["coefficient"]
    assert list(lane_faults(item, np.linspace(0.0, 10.0, 11))) == []
    assert list(lane_faults(item, np.array([1.0, -0.5, np.nan, 12.0, -1.0, np.inf]))) == [
        "is nan in lane 2, not a finite number (2 of 6 values are)",
        "is -0.5 in lane 1, below the least allowed, 0.0 (2 of 6 values are)",
        "is 12.0 in lane 3, above the greatest allowed, 10.0 (1 of 6 values are)",
    ]
    assert list(lane_faults(ByLane.parameters()["other"], np.array([1e300]))) == []
    for name in ("knots", "layer"):
        assert "is not a number" in next(lane_faults(ByLane.parameters()[name], np.ones(2)))
    for shape in ((0,), (2, 2), ()):
        assert f"the shape {shape}" in next(lane_faults(item, np.ones(shape)))


def test_a_bound_by_lane_is_sound_where_lanes_are_said() -> None:
    def faults(low: Any, high: Any, lanes: int = 3) -> list[str]:
        return list(limit_faults(Validity("mach", low, high), "drag", lanes=lanes))

    three = np.array([0.1, 0.2, 0.3])
    assert faults(three, 0.4) == faults(0.0, three) == faults(np.zeros(1), three) == []
    assert faults(three, 0.3)
    assert faults(three, np.nan * three)
    assert faults(np.zeros(2), 1.0)
    assert faults(three, 0.4, lanes=0)


def test_the_uncertainty_has_one_value_a_lane() -> None:
    lanes = guarded_uncertainty_by_lane(ByLane.of({"coefficient": [1.0, 2.0, 3.0]}), 3)
    assert lanes.tolist() == [0.1, 0.2, 0.3]
    assert guarded_uncertainty_by_lane(ByLane.of({"coefficient": 1.0}), 2).tolist() == [0.1] * 2
    assert guarded_uncertainty_by_lane(ByLane.of({"coefficient": [1.0]}), 2).tolist() == [0.1] * 2
    lanes[0] = 1.0  # the caller's own


@pytest.mark.parametrize(
    ("values", "lanes", "part"),
    [
        ([1.0, 2.0, 3.0], 2, "has the shape (3,), not one value for 2 lanes"),
        ([1.0, -2.0, 3.0], 3, "relative_uncertainty is the value -0.2"),
        ([1.0, np.nan, 3.0], 3, "relative_uncertainty is the value nan"),
    ],
)
def test_an_unsound_uncertainty_is_the_models_fault(values: Any, lanes: int, part: str) -> None:
    with pytest.raises(ModelFault) as caught:
        guarded_uncertainty_by_lane(ByLane.of({"coefficient": values}), lanes)
    assert part in caught.value.message


def test_the_guarded_law_answers_lanes_of_parameters() -> None:
    law = guarded_law(ByLane.of({"coefficient": [1.0, 2.0, 3.0]}))
    area = law(Flow(np.full((4, 3), 50.0), 1.2, 1.8e-5, 340.0), ARROW)
    np.testing.assert_allclose(area, np.full((4, 1), cross_section(ARROW)) * [1.0, 2.0, 3.0])
    with pytest.raises(ModelFault, match="drag_area"):
        law(Flow(np.full((4, 2), 50.0), 1.2, 1.8e-5, 340.0), ARROW)


def launched(masses: Any, speeds: Any) -> tuple[Launch, LaunchCase]:
    arrow = Arrow(mass=masses, shaft_diameter=0.005)
    return Launch.of({"speed": speeds}), LaunchCase(
        Bow(peep_height=0.1), arrow, AIR, lambda flow, arrow: flow.airspeed
    )


def test_the_guarded_launch_answers_lanes_of_parameters() -> None:
    model, case = launched(np.full(3, 0.02), [50.0, 60.0, 70.0])
    result = guarded_launch(model, case)
    assert np.asarray(result.speed).tolist() == [50.0, 60.0, 70.0]
    assert np.asarray(result.figures["speed"][0]).tolist() == [50.0, 60.0, 70.0]
    model, case = launched(0.02, [50.0, 60.0, 70.0])
    with pytest.raises(ModelFault, match="shape"):
        guarded_launch(model, case)


def flown(reynolds: Any) -> Flow:
    """The flow in which the arrow's Reynolds numbers are these."""
    return Flow(np.asarray(reynolds) * (1.8e-5 / (1.2 * 0.005)), 1.2, 1.8e-5, 340.0)


def test_each_lane_is_held_against_its_own_range() -> None:
    """2500 is the least of all, but within its lane's range; 4000 is farther below than 2900."""
    model = ByLane.of({"coefficient": [2.0, 3.0, 6.0]})
    notes = drag_notes(model, flown([[2500.0, 2900.0, 4000.0], [5e4, 6e4, 7e4]]), ARROW)
    assert [note.code for note in notes] == ["drag-range-left"]
    assert "falls to 4,000; 6,000 is the least" in notes[0].message
    assert drag_notes(model, flown([[2500.0, 3100.0, 6100.0], [5e4, 6e4, 7e4]]), ARROW) == ()
    above = drag_notes(model, flown([[2500.0, 3100.0, 6100.0], [5e4, 2e5, 7e4]]), ARROW)
    assert "rises to 200,000; 100,000 is the greatest" in above[0].message


def test_one_flight_is_held_against_the_range_of_every_lane() -> None:
    model = ByLane.of({"coefficient": [2.0, 3.0, 6.0]})
    (note,) = drag_notes(model, flown([4000.0, 5e4]), ARROW)
    assert "falls to 4,000; 6,000 is the least" in note.message


def test_a_refusal_names_the_range_of_its_lane() -> None:
    model = ByLane.of({"coefficient": [2.0, 6.0, 3.0], "layer": "two"})
    with pytest.raises(OutsideValidity) as caught:
        drag_notes(model, flown([[2500.0, 4000.0, 3100.0], [5e4, 6e4, 7e4]]), ARROW)
    fault = caught.value
    assert (fault.low, fault.high) == (6e3, 1e5)
    assert fault.reached == pytest.approx(4e3)
    assert all(type(end) is float for end in (fault.low, fault.high, fault.reached))


def test_a_launch_range_by_lane_is_held_against_its_lane() -> None:
    model, case = launched(np.array([0.021, 0.024]), [60.0, 40.0])
    notes = launch_notes(model, case, guarded_launch(model, case))
    assert "rises to 21 g; 20 g is the greatest" in notes[0].message
    model, case = launched(np.array([0.019, 0.024]), [60.0, 40.0])
    assert launch_notes(model, case, guarded_launch(model, case)) == ()
