"""Every installed model with `by_lane`: lanes of parameters are so many models, asked one by one.

The conformance suite varies a model a little; here whole sets of parameters are drawn at random,
far apart, and the variants of the built-in models are named one by one.
"""

from typing import Any

import numpy as np
import pytest

from arrowloft.plugin import (
    Air,
    Arrow,
    Bow,
    CaseError,
    Flow,
    LaunchCase,
    ModelFault,
    ParameterError,
    Registry,
    cross_section,
    guarded_drag_notes,
    guarded_launch,
    guarded_launch_notes,
    guarded_law,
    guarded_uncertainty,
    guarded_uncertainty_by_lane,
)
from arrowloft.plugin.contract import Model

REGISTRY = Registry.discover()
MODELS = [
    model
    for kind in ("drag", "launch")
    for name in REGISTRY.names(kind)
    if (model := REGISTRY.get(kind, name)).by_lane
]
VARIANTS: dict[str, tuple[dict[str, Any], ...]] = {
    "drag-constant": ({"coefficient": 1.9, "uncertainty": 0.1},),
    "drag-table": (
        {"reynolds": (1.0e4, 1.4e4, 2.0e4), "coefficient": (1.6, 1.5, 2.6), "uncertainty": 0.1},
    ),
    "drag-component": (
        {"layer": "laminar", "shaft_length": 0.7},
        {"layer": "turbulent", "leading_edge": "square", "sweep": 0.4},
        {"layer": "blended", "point": "cone", "joint_angle": 0.3},
        {"uncertainty": 0.2},
    ),
    "drag-two-speed": (
        {
            "speed_near": 57.0,
            "speed_far": 53.0,
            "distance_near": 2.0,
            "distance_far": 50.0,
            "air_density": 1.2,
            "speed_uncertainty": 0.5,
            "distance_uncertainty": 0.1,
        },
        {
            "speed_near": 57.0,
            "speed_far": 56.5,
            "distance_near": 0.0,
            "distance_far": 5.0,
            "speed_uncertainty": 0.3,
        },
    ),
    "launch-energy": ({"stored_energy": 100.0, "efficiency": 0.7},),
    "launch-measured": (
        {"speed": 85.0},
        {"speed": 85.0, "gate_distance": 2.0},
        {"readings": (85.0, 86.0, 84.0), "gate_distance": 2.0},
    ),
    "launch-force-draw": (
        {
            "draw": (0.1, 0.3, 0.45),
            "force": (62.0, 128.0, 175.0),
            "virtual_mass": 0.005,
            "rule": "monotone-cubic",
        },
    ),
    "launch-rules": ({"reference_speed": 96.3, "string_mass_added": 0.001},),
    "launch-rated": ({"rated_speed": 96.3, "string_mass_added": 0.001},),
}
CASES = [
    pytest.param(model, parameters, id=f"{model.kind}-{model.name}-{place}")
    for model in MODELS
    for place, parameters in enumerate(
        (dict(model.example), *VARIANTS.get(f"{model.kind}-{model.name}", ()))
    )
]
LANES = 24
SPEEDS = np.geomspace(5.0, 130.0, 9)
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)
BOW = Bow(peep_height=0.115, draw_length=0.74, brace_height=0.17, draw_weight=280.0)

every_model = pytest.mark.parametrize(("model", "parameters"), CASES)
every_drag_model = pytest.mark.parametrize(
    ("model", "parameters"), [case for case in CASES if str(case.id).startswith("drag-")]
)


def numbers(model: type[Model], parameters: dict[str, Any]) -> dict[str, float]:
    """The parameters that may differ from lane to lane: those given and those with a default."""
    values = {name: parameters.get(name, i.default) for name, i in model.parameters().items()}
    return {name: value for name, value in values.items() if isinstance(value, int | float)}


def draw(model: type[Model], start: dict[str, float], spread: float, seed: int) -> Any:
    """Parameters drawn about the start, within their bounds; whole ones stay whole in half."""
    rng = np.random.default_rng(seed)
    drawn = {}
    for name, value in start.items():
        item = model.parameters()[name]
        low = -np.inf if item.low is None else item.low
        high = np.inf if item.high is None else item.high
        scale = abs(value) or min(1.0, high - low)
        one = value + spread * scale * rng.uniform(-1.0, 1.0)
        if float(value).is_integer() and rng.random() < 0.5:
            one = float(round(one))
        drawn[name] = float(np.clip(one, low, high))
    return drawn


def drawn_sets(model: type[Model], parameters: dict[str, Any]) -> tuple[list[Any], list[Any]]:
    """Sets that the model takes, as many as lanes, and some that it refuses, where it does."""
    start, taken, refused = numbers(model, parameters), [], []
    for seed in range(4000):
        one = draw(model, start, (0.03, 0.3)[seed % 2], seed)
        try:
            model.of({**parameters, **one})
            if ask(model.of({**parameters, **one}), 0.024) is not None:
                taken.append(one)
        except ParameterError:
            refused.append(one)
        if len(taken) == LANES:
            return taken, refused
    raise AssertionError("too few sets of parameters that fit together")


def ask(model: Any, masses: Any) -> Any:
    """All numbers of the answer for arrows of these masses; None where a lane has none."""
    lanes = np.shape(masses)
    arrow = Arrow(mass=masses, shaft_diameter=0.0058, length=0.72, balance_point=0.43)
    try:
        if model.kind == "drag":
            speeds = np.broadcast_to(SPEEDS[:, *(None for _ in lanes)], SPEEDS.shape + lanes)
            return guarded_law(model)(Flow(speeds, 1.2, 1.8e-5, 340.0), arrow)
        result = guarded_launch(model, LaunchCase(BOW, arrow, AIR, quadratic))
        return np.array([result.speed, result.standard_uncertainty])
    except (CaseError, ModelFault):
        return None


def quadratic(flow: Flow, arrow: Arrow) -> Any:
    return np.full(flow.airspeed.shape, 2.0 * cross_section(arrow))


def stacked(sets: list[Any]) -> dict[str, Any]:
    return {name: np.array([one[name] for one in sets]) for name in sets[0]}


def test_every_built_in_model_is_among_them() -> None:
    ours = {"none", "constant", "table", "transition", "component", "two-speed"}
    ours |= {"measured", "energy", "two-arrow", "force-draw", "rated", "rules"}
    assert ours <= {model.name for model in MODELS}
    assert set(VARIANTS) <= {f"{model.kind}-{model.name}" for model in MODELS}


@every_model
def test_lanes_of_parameters_answer_as_each_set_alone(model: Any, parameters: Any) -> None:
    sets, _ = drawn_sets(model, parameters)
    masses = np.linspace(0.020, 0.028, LANES)
    whole = ask(model.of({**parameters, **stacked(sets)}), masses)
    each = [
        ask(model.of({**parameters, **one}), float(mass))
        for one, mass in zip(sets, masses, strict=True)
    ]
    assert whole is not None and all(one is not None for one in each)
    np.testing.assert_allclose(whole, np.stack(each, axis=-1), rtol=1e-12, atol=0.0)


@every_drag_model
def test_one_arrow_serves_all_lanes_of_a_drag_model(model: Any, parameters: Any) -> None:
    sets, _ = drawn_sets(model, parameters)
    law = guarded_law(model.of({**parameters, **stacked(sets)}))
    arrow = Arrow(mass=0.024, shaft_diameter=0.0058, length=0.72)
    flow = Flow(np.repeat(SPEEDS[:, None], LANES, axis=1), 1.2, 1.8e-5, 340.0)
    for lane, one in enumerate(sets):
        alone = guarded_law(model.of({**parameters, **one}))
        area = alone(Flow(SPEEDS, 1.2, 1.8e-5, 340.0), arrow)
        np.testing.assert_allclose(law(flow, arrow)[:, lane], area, rtol=1e-12, atol=0.0)


@every_model
def test_a_set_that_is_refused_alone_is_refused_in_any_lane(model: Any, parameters: Any) -> None:
    taken, refused = drawn_sets(model, parameters)
    for place, bad in enumerate(refused[:20]):
        lanes = taken.copy()
        lanes[place % LANES] = bad
        with pytest.raises(ParameterError):
            model.of({**parameters, **stacked(lanes)})


@every_model
def test_uncertainty_ranges_and_notes_are_those_of_the_lanes(model: Any, parameters: Any) -> None:
    sets, _ = drawn_sets(model, parameters)
    whole = model.of({**parameters, **stacked(sets)})
    each = [model.of({**parameters, **one}) for one in sets]
    if model.kind == "drag":
        lanes = guarded_uncertainty_by_lane(whole, LANES)
        np.testing.assert_allclose(lanes, [guarded_uncertainty(one) for one in each], rtol=1e-12)
    for place, item in enumerate(whole.limits()):
        for lane, one in enumerate(each):
            own = one.limits()[place]
            low, high = (np.broadcast_to(end, LANES)[lane] for end in (item.low, item.high))
            assert (low, high) == pytest.approx((own.low, own.high), rel=1e-12)
    assert codes(whole, LANES) == set().union(*(codes(one, 0) for one in each))


def codes(model: Any, lanes: int) -> set[str]:
    mass = np.full(lanes, 0.024) if lanes else 0.024
    arrow = Arrow(mass=mass, shaft_diameter=0.0058, length=0.72)
    if model.kind == "drag":
        flow = Flow(np.array([50.0, 60.0]), 1.2, 1.8e-5, 340.0)
        return {note.code for note in guarded_drag_notes(model, flow, arrow)}
    case = LaunchCase(BOW, arrow, AIR, quadratic)
    return {note.code for note in guarded_launch_notes(model, case, guarded_launch(model, case))}


def said(model: Any, reynolds: Any) -> dict[str, str]:
    """Notes by code for flights whose least and greatest Reynolds numbers are these."""
    flow = Flow(np.asarray(reynolds) * (1.8e-5 / (1.2 * 0.005)), 1.2, 1.8e-5, 340.0)
    return {n.code: n.message for n in model.notes(flow, Arrow(mass=0.02, shaft_diameter=0.005))}


def test_one_lane_without_drag_says_so() -> None:
    build = REGISTRY.get("drag", "constant").of
    assert "no-drag" in said(build({"coefficient": np.array([1.0, 0.0])}), [1e4, 2e4])
    assert said(build({"coefficient": np.array([1.0, 0.1])}), [1e4, 2e4]) == {}


def test_each_lane_has_a_band_of_its_own() -> None:
    """Both flights pass between 10,000 and 30,000, but neither through its own widened band."""
    build = REGISTRY.get("drag", "transition").of
    band = {"band_low": np.array([4e4, 4e3]), "band_high": np.array([6e4, 6e3])}
    assert said(build(band), [[1e4, 1e4], [2.9e4, 2.9e4]]) == {}
    assert said(build({}), [[1e3, 3e4], [2e3, 4e4]]) == {}
    message = said(build(band), [[1e4, 1e4], [3.1e4, 2.9e4]])["boundary-layer-undecided"]
    assert "from 3,000 to 75,000," in message


def test_notes_quote_the_outermost_or_the_worst_lane() -> None:
    build = REGISTRY.get("drag", "transition").of
    model = build({"laminar": np.array([1.2, 1.4]), "turbulent": np.array([2.2, 2.5])})
    assert "from 1.2 to 2.5;" in said(model, [1e4, 2e4])["boundary-layer-undecided"]
    close = {"distance_near": 0.0, "distance_far": 5.0, "speed_near": 57.0, "uncertainty": None}
    near = REGISTRY.get("drag", "two-speed").of({**close, "speed_far": np.array([50.0, 56.5])})
    assert "uncertain by 32 %" in said(near, [1e4, 2e4])["speeds-too-close"]
    rated = REGISTRY.get("launch", "rated").of(
        {"rated_speed": 96.3, "virtual_mass": (0.004, 0.006)}
    )
    arrow = Arrow(mass=np.full(2, 0.024), shaft_diameter=0.0058)
    (note,) = guarded_launch(rated, LaunchCase(BOW, arrow, AIR, quadratic)).notes
    assert "virtual mass of 4 to 6 g" in note.message
    assert "taken as 70 lbf, 30 in and 350 gr" in note.message
