"""What holds for every built-in drag model, whatever its law."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.plugin import Arrow, DragModel, Flow, ParameterError
from arrowloft.plugin.conformance import check_drag_model
from arrowloft_models.drag.component import Component
from arrowloft_models.drag.constant import Constant
from arrowloft_models.drag.none import NoDrag
from arrowloft_models.drag.table import Table
from arrowloft_models.drag.transition import Transition
from arrowloft_models.drag.two_speed import TwoSpeed

CLASSES = (NoDrag, Constant, Table, Transition, Component, TwoSpeed)
MODELS: tuple[DragModel, ...] = tuple(kind.of(kind.example) for kind in CLASSES)
EXTRA: tuple[DragModel, ...] = (Component(layer="laminar"), Component(layer="turbulent"))

DENSITY, VISCOSITY = 1.2, 1.8e-5
ARROW = Arrow(mass=0.02, shaft_diameter=0.0055, length=0.7)


def flow(airspeed, density=DENSITY, viscosity=VISCOSITY):
    speeds = np.asarray(airspeed, dtype=float)
    speeds.flags.writeable = False
    return Flow(speeds, density, viscosity, 340.0)


def identify(model):
    return f"{model.name}-{getattr(model, 'layer', '')}".rstrip("-")


every_model = pytest.mark.parametrize("model", MODELS + EXTRA, ids=identify)


@every_model
@pytest.mark.parametrize("shape", [(), (1,), (7,), (8, 20), (2, 3, 4), (0,)])
def test_area_has_the_shape_of_the_airspeed(model, shape):
    area = model.drag_area(flow(np.full(shape, 57.0)), ARROW)
    assert isinstance(area, np.ndarray)
    assert area.shape == shape
    assert area.dtype == np.float64


@every_model
def test_area_is_finite_and_not_negative_from_rest_to_400_m_s(model):
    speeds = np.concatenate(([0.0, 5e-324, 1e-12, 1e-3], np.linspace(0.01, 400.0, 4000)))
    with np.errstate(all="raise", under="ignore"):
        area = model.drag_area(flow(speeds), ARROW)
    assert np.all(np.isfinite(area))
    assert np.all(area >= 0.0)


@every_model
def test_lanes_together_answer_as_each_lane_alone(model):
    """Identity: an arrow of many lanes is so many arrows."""
    lanes = 5
    mass = np.linspace(0.016, 0.03, lanes)
    diameter = np.linspace(0.004, 0.009, lanes)
    length = np.linspace(0.6, 0.8, lanes)
    density = np.linspace(0.9, 1.3, lanes)
    viscosity = np.linspace(1.7e-5, 1.9e-5, lanes)
    speeds = np.linspace(30.0, 110.0, 8 * lanes).reshape(8, lanes)
    together = model.drag_area(
        flow(speeds, density, viscosity),
        Arrow(mass=mass, shaft_diameter=diameter, length=length),
    )
    for lane in range(lanes):
        arrow = Arrow(
            mass=float(mass[lane]),
            shaft_diameter=float(diameter[lane]),
            length=float(length[lane]),
        )
        alone = model.drag_area(
            flow(speeds[:, lane], float(density[lane]), float(viscosity[lane])), arrow
        )
        np.testing.assert_allclose(together[:, lane], alone, rtol=1e-13)


@every_model
def test_the_same_question_has_the_same_answer(model):
    speeds = flow(np.linspace(20.0, 120.0, 40))
    np.testing.assert_array_equal(model.drag_area(speeds, ARROW), model.drag_area(speeds, ARROW))


@pytest.mark.parametrize(
    "model", [Constant(coefficient=1.9), Table.of(Table.example), Transition()], ids=identify
)
@given(factor=st.floats(0.3, 3.0), speed=st.floats(5.0, 150.0))
def test_coefficients_refer_to_the_shaft_cross_section(model, factor, speed):
    """Similarity: at one Reynolds number, hence one coefficient, Cd*A goes with d^2."""
    thick = Arrow(mass=0.02, shaft_diameter=ARROW.shaft_diameter * factor)
    reference = model.drag_area(flow([speed]), ARROW)
    scaled = model.drag_area(flow([speed / factor]), thick)
    np.testing.assert_allclose(scaled, factor**2 * reference, rtol=1e-9)


@pytest.mark.parametrize("layer", ["laminar", "turbulent", "blended"])
@given(factor=st.floats(0.3, 3.0), speed=st.floats(5.0, 150.0))
def test_a_scale_model_of_the_whole_arrow_has_the_same_coefficient(layer, factor, speed):
    """Similarity: all lengths scaled, the speed scaled inversely."""
    arrow = Arrow(mass=0.02, shaft_diameter=factor * ARROW.shaft_diameter)
    original = Component(layer=layer, shaft_length=0.7, leading_edge="square")
    scaled = Component(
        layer=layer,
        leading_edge="square",
        shaft_length=0.7 * factor,
        vane_length=original.vane_length * factor,
        vane_height=original.vane_height * factor,
        vane_thickness=original.vane_thickness * factor,
    )
    np.testing.assert_allclose(
        scaled.drag_area(flow([speed / factor]), arrow),
        factor**2 * original.drag_area(flow([speed]), ARROW),
        rtol=1e-9,
    )


@pytest.mark.parametrize("model", MODELS[1:], ids=identify)
def test_the_callers_uncertainty_replaces_the_default(model):
    given_by_caller = type(model).of({**model.example, "uncertainty": 0.031})
    assert given_by_caller.relative_uncertainty() == 0.031
    assert type(model).of({**model.example, "uncertainty": 0.0}).relative_uncertainty() == 0.0
    assert 0.0 < model.relative_uncertainty() < 0.3


@every_model
def test_keeps_the_contract(model):
    layer = {"layer": model.layer} if isinstance(model, Component) else {}
    check_drag_model(type(model), **model.example, **layer)


@pytest.mark.parametrize("kind", CLASSES, ids=lambda kind: kind.name)
def test_the_declaration_is_complete(kind):
    assert kind.sources
    assert kind.__doc__
    assert not kind.__doc__.startswith(kind.__name__ + "(")
    for declared in kind.parameters().values():
        assert declared.description.endswith(".")
        if declared.dimension == "choice":
            assert declared.default in declared.choices
        elif declared.default is not None and not declared.required:
            assert declared.low <= declared.default <= declared.high
        else:
            assert declared.low < declared.high


@pytest.mark.parametrize("kind", CLASSES, ids=lambda kind: kind.name)
def test_an_unknown_parameter_is_refused(kind):
    with pytest.raises(ParameterError):
        kind.of({**kind.example, "colour": 1.0})


def test_no_drag_is_a_vacuum_and_says_so():
    speeds = flow(np.linspace(0.0, 120.0, 9))
    assert not NoDrag().drag_area(speeds, ARROW).any()
    assert NoDrag().relative_uncertainty() == 0.0
    assert [note.code for note in NoDrag().notes(speeds, ARROW)] == ["no-drag"]


@given(coefficient=st.floats(0.0, 20.0), speed=st.floats(0.0, 400.0))
def test_constant_is_coefficient_times_cross_section_at_any_speed(coefficient, speed):
    """Closed form: Cd*A = Cd pi d^2 / 4."""
    area = Constant(coefficient=coefficient).drag_area(flow([speed]), ARROW)
    assert area[0] == pytest.approx(coefficient * math.pi * 0.0055**2 / 4.0, rel=1e-15)


def test_a_constant_of_zero_says_that_the_air_was_left_out():
    speeds = flow([50.0, 57.0])
    zero = Constant(coefficient=0.0).notes(speeds, ARROW)
    assert zero == NoDrag().notes(speeds, ARROW)
    assert Constant(coefficient=0.1).notes(speeds, ARROW) == ()
