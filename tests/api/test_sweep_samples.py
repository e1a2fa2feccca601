"""Samples of POST /v1/sweep: exact quantiles, seeds, blocks, and what is drawn from what."""

from typing import Any

import numpy as np
import pytest
import swept as requests
from flask.testing import FlaskClient
from scipy.special import ndtri
from swept import normal, sampled, uniform, values

from arrowloft import study
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.sweeping import members
from arrowloft.api.sweeping.block import Sweep
from arrowloft.api.sweeping.plan import in_blocks_of, plan_of
from arrowloft.api.sweeping.table import Table, computed
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
PROBABILITIES = [0.05, 0.31, 0.5, 0.95]
SPEED = "/launch/parameters/speed"


def in_vacuum(samples: int, seed: int = 3) -> Body:
    """Launch speeds N(56, 0.5) m/s, without drag and lengths: all that follows is exact."""
    return sampled(
        bow={"peep_height": "0 mm", "launch_forward": "0 mm"},
        arrow={"mass": "20 g", "shaft_diameter": "5.4 mm", "tip_lead": "0 mm"},
        drag={"model": "none"},
        vary=[normal(SPEED, "56 m/s", "0.5 m/s")],
        distances=["30 m"],
        samples=samples,
        seed=seed,
        quantities=["momentum", "energy", "time"],
        quantiles=PROBABILITIES,
    )


def test_quantiles_of_a_linear_quantity_are_exact_but_for_chance() -> None:
    """Momentum m v is N(1.12, 0.01); a quantile's error is sqrt(p (1 - p) / n) / density."""
    count = 20_000
    found = study.sweep(in_vacuum(count)).quantiles
    for p in PROBABILITIES:
        exact = 0.02 * (56.0 + 0.5 * ndtri(p))
        density = np.exp(-0.5 * ndtri(p) ** 2) / np.sqrt(2.0 * np.pi) / 0.01
        chance = np.sqrt(p * (1.0 - p) / count) / density
        assert found[f"momentum.quantile_{p:g}"][0] == pytest.approx(exact, abs=4.0 * chance)
    assert found["momentum.mean"][0] == pytest.approx(1.12, abs=4 * 0.01 / count**0.5)
    deviation = found["momentum.standard_deviation"][0]
    assert deviation == pytest.approx(0.01, rel=4.0 / (2.0 * count) ** 0.5)
    # E[m v^2 / 2] = m (mean^2 + deviation^2) / 2.
    energy = 0.01 * (56.0**2 + 0.25)
    assert found["energy.mean"][0] == pytest.approx(energy, abs=4 * 0.56 / count**0.5)


def test_a_monotonous_quantity_has_the_quantiles_of_its_rows() -> None:
    """Time falls as the speed rises: t = d / (v cos a), sin 2a = g d / v^2, draw by draw."""
    found = study.sweep(in_vacuum(999))
    speed = found.columns[SPEED]
    time = 30.0 / (speed * np.cos(0.5 * np.arcsin(9.80665 * 30.0 / speed**2)))
    assert found.columns["time"] == pytest.approx(time, rel=1e-9)
    for p in PROBABILITIES:
        expected = np.quantile(time, p)
        assert found.quantiles[f"time.quantile_{p:g}"][0] == pytest.approx(expected, rel=1e-9)


@pytest.fixture
def client() -> FlaskClient:
    return requests.client()


def swept(client: FlaskClient, asked: Body) -> Any:
    reply = client.post("/v1/sweep", json=asked)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def test_the_summary_is_numpy_s_of_the_rows(client: FlaskClient) -> None:
    asked = sampled(rows=True)
    found = swept(client, asked)
    rows, summary = found["columns"], found["summary"]
    assert summary["/arrow/mass"] == [18.4, 18.4, 19.4, 19.4, 20.4, 20.4]
    assert summary["distance"] == [50, 70] * 3 and summary["arrived"] == [200] * 6
    for name in asked["quantities"]:
        of_points = np.reshape(rows[name], (3, 200, 2))
        step = {"launch_angle": 1e-6, "travel": 2e-3, "speed": 2e-5}[name]
        for label, expected in [
            ("mean", of_points.mean(axis=1)),
            ("standard_deviation", of_points.std(axis=1, ddof=1)),
            *((f"quantile_{p:g}", np.quantile(of_points, p, axis=1)) for p in (0.05, 0.5, 0.95)),
        ]:
            assert summary[f"{name}.{label}"] == pytest.approx(expected.ravel(), abs=step)


def test_rows_come_where_they_are_asked_for(client: FlaskClient) -> None:
    plain, full = swept(client, sampled()), swept(client, sampled(rows=True))
    assert "columns" not in plain and plain["summary"] == full["summary"]
    assert full["columns"]["sample"] == [draw for draw in range(200) for _ in range(2)] * 3
    assert plain["seed"] == 1 and plain["sizes"]["samples"] == 200


def test_quantiles_left_out_are_the_usual_ones(client: FlaskClient) -> None:
    asked = sampled(quantities=["time"])
    del asked["quantiles"]
    names = [name for name in swept(client, asked)["summary"] if "quantile" in name]
    assert names == [f"time.quantile_{p}" for p in (0.05, 0.25, 0.5, 0.75, 0.95)]


def test_the_same_draws_serve_all_points_of_the_grid() -> None:
    found = study.sweep(sampled()).columns
    for pointer in (SPEED, "/drag/parameters/coefficient"):
        of_points = found[pointer].reshape(3, 200, 2)
        assert (of_points == of_points[:1, :, :1]).all()
        assert len(np.unique(of_points)) == 200


def test_seeds(client: FlaskClient) -> None:
    one, again = (client.post("/v1/sweep", json=sampled(rows=True)).data for _ in range(2))
    other = client.post("/v1/sweep", json=sampled(rows=True, seed=2)).get_json()
    assert one == again
    first = client.post("/v1/sweep", json=sampled(rows=True)).get_json()
    assert not set(first["columns"][SPEED]) & set(other["columns"][SPEED])


def test_more_samples_begin_with_the_fewer() -> None:
    few = study.sweep(in_vacuum(50)).columns
    more = study.sweep(in_vacuum(80)).columns
    for name, values_ in few.items():
        assert np.array_equal(more[name][:50], values_)


def test_a_member_s_draws_do_not_depend_on_what_else_is_varied() -> None:
    alone = study.sweep(sampled(vary=[sampled()["vary"][1]])).columns[SPEED]
    beside = study.sweep(sampled()).columns[SPEED]
    assert np.array_equal(alone, beside[:400])


def in_blocks(asked: Body, size: int | None) -> Table:
    registry = Registry.discover()
    plan = plan_of(members.schema(ModelSchemas.of(registry), 100), asked, 10**6)
    return computed(Sweep(plan if size is None else in_blocks_of(plan, size), registry))


@pytest.mark.parametrize("size", [1, 7, 199, 200, 333])
def test_the_size_of_blocks_changes_no_row_but_by_rounding(size: int) -> None:
    asked = sampled(samples=200, wind={"speed": "2 m/s", "from": "40 deg"})
    if size == 1:  # a call of the core for each
        asked["samples"] = 20
    whole, parts = in_blocks(asked, None), in_blocks(asked, size)
    assert len(parts.plan.blocks) > 1
    for one, other in zip(whole.rows, parts.rows, strict=True):
        assert other.values == pytest.approx(one.values, rel=2e-10), one.name
        if one.given:
            assert np.array_equal(other.values, one.values)
    assert whole.left == parts.left and whole.beyond == parts.beyond


def test_what_is_cut_off_is_not_drawn() -> None:
    cut = normal("/arrow/mass", "19 g", "1 g", to="19.2 g", **{"from": "18 g"})
    mass = study.sweep(sampled(vary=[cut], samples=3000, quantities=["time"])).columns[
        "/arrow/mass"
    ]
    assert 0.018 < mass.min() < 0.01801 and 0.01919 < mass.max() < 0.0192


@pytest.mark.parametrize("kind", ["readings", "table"])
def test_drawn_elements_of_lists_are_computed_one_by_one(kind: str) -> None:
    """Their models take no lanes of lists: as many instances as draws, whatever the grid."""
    if kind == "readings":
        launch = {"model": "measured", "parameters": {"readings": ["56 m/s", "57 m/s"]}}
        drawn = uniform("/launch/parameters/readings/0", "55 m/s", "58 m/s")
        base: Body = {"launch": launch}
    else:
        curve = {"reynolds": [8000, 15000, 30000], "coefficient": [1.6, 2.0, 2.4]}
        drawn = uniform("/drag/parameters/coefficient/1", 1.8, 2.2)
        base = {"drag": {"model": "table", "parameters": curve}}
    grid = values("/arrow/mass", "18 g", "20 g")
    asked = sampled(vary=[grid, drawn], samples=9, quantities=["launch_angle"], **base)
    found = study.sweep(asked).columns
    pointer = drawn["pointer"]
    for row in (0, 5, 17, 22, 35):
        single = sampled(
            vary=[values("/arrow/mass", f"{found['/arrow/mass'][row]:.17g} kg"),
                  values(pointer, _as_asked(pointer, found[pointer][row]))],
            quantities=["launch_angle"], **base,
        )  # fmt: skip
        for name in ("samples", "seed", "quantiles"):
            del single[name]
        expected = study.sweep(single).columns["launch_angle"][row % 2]
        assert found["launch_angle"][row] == pytest.approx(expected, rel=1e-9)
    assert len(np.unique(found["launch_angle"])) == 36


def _as_asked(pointer: str, value: float) -> Any:
    return float(value) if "coefficient" in pointer else f"{value:.17g} m/s"
