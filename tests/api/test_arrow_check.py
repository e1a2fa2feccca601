"""POST /v1/arrow-check at the edge: the reply's shape, identities, cautions and refusals."""

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import openapi, problems
from arrowloft.api.bow import arrow_check
from arrowloft.api.resource import Edge, Limits
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "arrow-check.request.json").read_text())
MEASURED = {"model": "measured", "parameters": {"speed": "300 ft/s"}}


@pytest.fixture(scope="module")
def checker() -> FlaskClient:
    """A client of this resource alone."""
    app = Flask("arrow check")
    arrow_check.resource(Edge.of(Registry.discover(), Limits())).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def asked() -> Body:
    """A valid request, to be changed at will."""
    return copy.deepcopy(_ASKED)


@pytest.fixture
def bare(asked: Body) -> Body:
    """The shared members alone, in default units, and no drag."""
    body = {name: asked[name] for name in ("bow", "arrow", "air")}
    return body | {"launch": copy.deepcopy(MEASURED)}


def check(checker: FlaskClient, asked: Body, **changes: Any) -> Any:
    reply = checker.post("/v1/arrow-check", json=asked | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refused(checker: FlaskClient, asked: Body, **changes: Any) -> list[tuple[str, str]]:
    reply = checker.post("/v1/arrow-check", json=asked | changes)
    assert reply.status_code == 422, reply.get_data(as_text=True)
    return [(fault["pointer"], fault["detail"]) for fault in reply.get_json()["errors"]]


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def documented(found: Any) -> None:
    """The reply holds what the document says."""
    edge = Edge.of(Registry.discover(), Limits())
    document = openapi.document([arrow_check.resource(edge)], edge.limits, {})
    schema = document["components"]["schemas"]["ArrowCheckReply"]
    schema = {**schema, "components": document["components"]}
    jsonschema.validate(found, schema, jsonschema.Draft202012Validator)


# Mass


def test_mass_for_the_draw_weight(checker: FlaskClient, asked: Body) -> None:
    """388 gr for 52 lbf, in grains and pounds."""
    found = check(checker, asked)
    assert found["mass"] == {
        "draw_weight": 52.0,
        "per_draw_weight": pytest.approx(388 / 52, abs=1e-5),
        "least_per_draw_weight": 5.0,
        "least_mass": 260.0,
        "margin": 128.0,
        "below_least": False,
    }
    assert not {"light-arrow", "least-mass-lowered", "below-asked-least-mass"} & set(codes(found))


@pytest.mark.parametrize(
    ("least", "mass", "light", "told"),
    [
        ("5 gr/lbf", "260 gr", False, set()),
        ("5 gr/lbf", "259.9 gr", True, {"light-arrow"}),
        ("6 gr/lbf", "311.9 gr", True, {"below-asked-least-mass"}),
        ("6 gr/lbf", "312 gr", False, set()),
        ("6 gr/lbf", "250 gr", True, {"light-arrow"}),
        ("4.9 gr/lbf", "255 gr", False, {"light-arrow", "least-mass-lowered"}),
        ("4 gr/lbf", "200 gr", True, {"light-arrow", "least-mass-lowered"}),
    ],
)
def test_light_arrows(
    checker: FlaskClient, bare: Body, least: str, mass: str, light: bool, told: set[str]
) -> None:
    """The usual caution stays at 5 grains per pound, whatever the check was asked for."""
    bare["arrow"]["mass"] = mass
    found = check(checker, bare, least_mass_per_draw_weight=least)
    assert found["mass"]["below_least"] is light
    assert (found["mass"]["margin"] < 0) is light
    cautions = {"light-arrow", "least-mass-lowered", "below-asked-least-mass"}
    assert cautions & set(codes(found)) == told
    assert len(codes(found)) == len(set(codes(found)))


def test_no_draw_weight_no_verdict(checker: FlaskClient, bare: Body) -> None:
    del bare["bow"]["draw_weight"]
    found = check(checker, bare)
    assert found["mass"].pop("least_per_draw_weight") == 5.0
    assert set(found["mass"].values()) == {None}
    assert codes(found).count("least-mass-unchecked") == 1
    documented(check(checker, bare))


@pytest.mark.parametrize(
    ("own", "weight"), [(None, 175.0), ("100 N", 175.0), ("231 N", 231.0), ("300 N", 300.0)]
)
def test_a_force_curve_knows_the_draw_weight(
    checker: FlaskClient, bare: Body, own: str | None, weight: float
) -> None:
    """Its greatest force counts where the bow says less: the cautions agree with the verdict."""
    del bare["bow"]["draw_weight"]
    if own is not None:
        bare["bow"]["draw_weight"] = own
    draws, forces = ("0 m", "0.2 m", "0.4 m"), ("0 N", "110 N", "175 N")
    bare["launch"] = {
        "model": "force-draw",
        "parameters": {"draw": draws, "force": forces, "virtual_mass": "5 g"},
    }
    bare["arrow"]["mass"] = "15 g"
    found = check(checker, bare)
    assert found["mass"]["draw_weight"] == weight
    assert found["mass"]["below_least"] is (weight > 205.9)
    assert ("light-arrow" in codes(found)) is found["mass"]["below_least"]
    bare["arrow"]["mass"] = "12.7 g"
    found = check(checker, bare)
    assert found["mass"]["below_least"] and codes(found).count("light-arrow") == 1


# Balance


def test_foc(checker: FlaskClient, asked: Body) -> None:
    balance = check(checker, asked)["balance"]
    assert balance["foc"] == pytest.approx(100 * (15.7 - 27.1 / 2) / 27.1, abs=1e-6)
    assert balance["ahead_of_middle"] == pytest.approx(15.7 - 27.1 / 2, abs=1e-4)
    assert balance["foc_whole_length"] == pytest.approx(100 * (15.7 - 27.9 / 2) / 27.9, abs=1e-6)


def test_foc_needs_lengths(checker: FlaskClient, bare: Body) -> None:
    told = {"foc-needs-shaft-length", "foc-needs-balance-point", "foc-is-mechanics"}
    found = check(checker, bare, shaft_length="27.1 in")
    assert told & set(codes(found)) == {"foc-is-mechanics"}
    found = check(checker, bare)
    assert found["balance"]["foc"] is None and found["balance"]["ahead_of_middle"] is None
    assert found["balance"]["foc_whole_length"] > 0
    assert told & set(codes(found)) == {"foc-needs-shaft-length"}
    del bare["arrow"]["length"]
    found = check(checker, bare, shaft_length="27.1 in")
    assert found["balance"]["foc"] > 0 and found["balance"]["foc_whole_length"] is None
    del bare["arrow"]["balance_point"]
    found = check(checker, bare, shaft_length="27.1 in")
    assert set(found["balance"].values()) == {None}
    assert told & set(codes(found)) == {"foc-needs-balance-point"}
    documented(found)


@pytest.mark.parametrize(
    ("balance", "unusual"),
    [("13.5 in", True), ("13.6 in", False), ("23 in", False), ("23.1 in", True)],
)
def test_a_balance_out_of_the_way_is_said(
    checker: FlaskClient, bare: Body, balance: str, unusual: bool
) -> None:
    """Of a shaft of 27.1 in: 0 % is at 13.55 in, 35 % at 23.035 in."""
    bare["arrow"]["balance_point"] = balance
    assert ("foc-unusual" in codes(check(checker, bare, shaft_length="27.1 in"))) is unusual


# Energy


def test_energy_at_the_bow(checker: FlaskClient, bare: Body) -> None:
    """400 gr at 300 ft/s = 108.36028 J; 1 ft/s of instrument and 0.2 % of the bow beside it."""
    bare["arrow"]["mass"] = "400 gr"
    found = check(checker, bare)
    at, share = found["at_launch"], found["launch"]["standard_uncertainty"] / 91.44
    assert at["energy"] == pytest.approx(108.36028, abs=1e-5)
    assert at["speed"] == 91.44
    assert at["speed_uncertainty"] == found["launch"]["standard_uncertainty"]
    assert share == pytest.approx((300**-2 + 0.002**2) ** 0.5, rel=1e-4)
    assert at["energy_uncertainty"] == pytest.approx(2 * share * at["energy"], rel=1e-4)
    assert at["momentum"] == pytest.approx(2 * at["energy"] / 91.44, rel=1e-6)
    assert at["momentum_uncertainty"] == pytest.approx(share * at["momentum"], rel=1e-4)
    assert not {"rows", "solution", "drag", "spine"} & found.keys()
    assert {"energy-is-no-permission", "makers-charts-decide"} <= set(codes(found))
    documented(found)


def test_energy_on_the_way(checker: FlaskClient, client: FlaskClient, asked: Body) -> None:
    found = check(checker, asked)
    rows, at = found["rows"], found["at_launch"]
    own = ("shaft_length", "spine")
    marks = {name: value for name, value in asked.items() if name not in own}
    marks["sight"] = {"radius": "800 mm"}
    table = client.post("/v1/mark-table", json=marks).get_json()["rows"]
    assert [row["distance"] for row in rows] == [20, 40, 60]
    for row, mark in zip(rows, table, strict=True):
        for name in ("time", "speed", "energy", "momentum"):
            assert row[name] == pytest.approx(mark[name], rel=1e-6)
        assert row["energy_lost"] == pytest.approx(1 - row["energy"] / at["energy"], abs=2e-6)
        assert row["momentum_lost"] == pytest.approx(1 - row["momentum"] / at["momentum"], abs=2e-6)
        share = row["speed_uncertainty"] / row["speed"]
        assert row["energy_uncertainty"] == pytest.approx(2 * share * row["energy"], rel=1e-4)
        assert row["momentum_uncertainty"] == pytest.approx(share * row["momentum"], rel=1e-4)
        # The loss is known as well as the drag is, launch speed aside.
        drag = found["drag"]["relative_uncertainty"]
        doubt = row["energy_lost_uncertainty"] / row["energy_lost"]
        assert 0.8 * drag < doubt < 1.2 * drag
    documented(found)
    asked["arrow"].update(tip_lead="0 mm")
    assert check(checker, asked, slope="-45 deg")["rows"][0]["energy_lost"] < rows[0]["energy_lost"]


def test_without_drag_the_launch_speed_alone_is_uncertain(checker: FlaskClient, bare: Body) -> None:
    """Height costs energy whatever the speed, so v dv = v0 dv0 (exact)."""
    found = check(checker, bare, drag={"model": "none"}, distances=["50 m"])
    [row], at = found["rows"], found["at_launch"]
    assert row["speed_uncertainty"] * row["speed"] == pytest.approx(
        at["speed_uncertainty"] * at["speed"], rel=1e-4
    )
    assert row["energy_uncertainty"] == pytest.approx(at["energy_uncertainty"], rel=1e-4)


def test_close_to_the_reach_uncertainties_are_null(checker: FlaskClient, asked: Body) -> None:
    [(_, detail)] = refused(checker, asked, distances=["20 yd", "900 yd"])
    farthest = float(detail.split("reaches ")[1].split()[0])
    found = check(checker, asked, distances=["20 yd", f"{farthest - 5:.2f} yd"])
    near, far = found["rows"]
    assert {name for name in far if far[name] is None} == {
        "speed_uncertainty",
        "energy_uncertainty",
        "energy_lost_uncertainty",
        "momentum_uncertainty",
    }
    assert None not in near.values()
    assert "uncertainty-near-reach" in codes(found)
    # Slow enough there for the drag model to say so.
    assert "boundary-layer-undecided" in codes(found)
    assert "uncertainty-near-reach" not in codes(check(checker, asked))
    documented(found)


# Deflection


@pytest.mark.parametrize(
    "given",
    [
        {"standard": "28-inch", "deflection": "0.402 in"},
        {"span": "28 in", "load": "1.94 lbf", "deflection": "0.402 in"},
        {"span": "20 in", "load": "5.32336 lbf", "deflection": "0.402 in"},
        {"standard": "26-inch", "deflection": "0.331818270 in"},
        {"pounds": 78.3561533},
    ],
)
def test_every_form_tells_the_same(checker: FlaskClient, asked: Body, given: Body) -> None:
    """0.402 in * 2 * 26^3 / (1.94 * 28^3) = 0.33181827 in, and 26 over that."""
    found = check(checker, asked, spine=given)["spine"]
    assert found["deflection_28_inch"] == pytest.approx(0.402, abs=5e-5)
    assert found["deflection_26_inch"] == pytest.approx(0.3318183, abs=5e-5)
    assert found["pounds"] == pytest.approx(78.35615, abs=1e-4)
    assert found["rigidity"] == pytest.approx(6.333771, abs=1e-5)


def test_deflection_is_no_advice(checker: FlaskClient, asked: Body) -> None:
    found = check(checker, asked)
    told = {note["code"]: note["message"] for note in found["notes"]}
    assert "chart decides" in told["deflection-is-bookkeeping"]
    del asked["spine"]
    assert "deflection-is-bookkeeping" not in codes(check(checker, asked))


@pytest.mark.parametrize(
    ("given", "code", "blank"),
    [
        ({"standard": "28-inch", "deflection": "2.7 in"}, False, False),
        ({"standard": "28-inch", "deflection": "2.9 in"}, True, False),
        ({"span": "20 in", "load": "1 lbf", "deflection": "0.4 in"}, False, False),
        # Much of its own span; under either standard little.
        ({"span": "39 in", "load": "5 lbf", "deflection": "4 in"}, True, False),
        # A short span under little load: over 28 in the shaft would slip through.
        ({"span": "20 in", "load": "1 lbf", "deflection": "1.5 in"}, True, True),
    ],
)
def test_a_beam_bent_too_far(
    checker: FlaskClient, asked: Body, given: Body, code: bool, blank: bool
) -> None:
    found = check(checker, asked, spine=given)
    assert ("deflection-beyond-beam" in codes(found)) is code
    assert (found["spine"]["deflection_28_inch"] is None) is blank
    documented(found)


@pytest.mark.parametrize(
    ("lengths", "spans"),
    [
        ({"shaft_length": "28 in"}, ""),
        ({"shaft_length": "27.1 in"}, "28 in apart"),
        ({"shaft_length": "25 in"}, "26 in and 28 in apart"),
        ({"length": "27.9 in"}, "28 in apart"),
        ({"length": "28.5 in"}, ""),
        ({}, ""),
    ],
)
def test_a_shaft_shorter_than_the_span(
    checker: FlaskClient, asked: Body, lengths: Body, spans: str
) -> None:
    del asked["shaft_length"], asked["arrow"]["length"], asked["distances"], asked["drag"]
    asked["launch"] = MEASURED
    if "length" in lengths:
        asked["arrow"] |= lengths
    else:
        asked |= lengths
    told = {note["code"]: note["message"] for note in check(checker, asked)["notes"]}
    assert ("shaft-shorter-than-span" in told) is bool(spans)
    assert spans in told.get("shaft-shorter-than-span", "")


# Refusals


@pytest.mark.parametrize(
    ("changes", "pointer", "word"),
    [
        ({"least_mass_per_draw_weight": "0.9 gr/lbf"}, "/least_mass_per_draw_weight", "outside"),
        ({"least_mass_per_draw_weight": "21 gr/lbf"}, "/least_mass_per_draw_weight", "outside"),
        ({"least_mass_per_draw_weight": "5 gr"}, "/least_mass_per_draw_weight", "gr/lbf"),
        ({"shaft_length": "28 in"}, "/shaft_length", "longer than the arrow"),
        ({"shaft_length": "15.6 in"}, "/shaft_length", "balance point"),
        ({"spine": {}}, "/spine", "one form"),
        ({"spine": {"deflection": "1 cm"}}, "/spine", "one form"),
        ({"spine": {"standard": "28-inch"}}, "/spine", "one form"),
        ({"spine": {"deflection": "1 cm", "span": "28 in"}}, "/spine", "one form"),
        (
            {"spine": {"deflection": "1 cm", "standard": "28-inch", "pounds": 60}},
            "/spine",
            "one form",
        ),
        ({"spine": {"pounds": 4}}, "/spine/pounds", "outside"),
        (
            {"spine": {"standard": "27-inch", "deflection": "1 cm"}},
            "/spine/standard",
            "inch",
        ),
        (
            {"spine": {"span": "20 in", "load": "1 lbf", "deflection": "5 in"}},
            "/spine/deflection",
            "slips through",
        ),
        ({"distances": ["20 yd", "900 yd"]}, "/distances/1", "beyond reach"),
        ({"distances": ["1.2 m"]}, "/distances/0", "Too near"),
        ({"distances": []}, "/distances", "1 to 1000"),
        ({"stiffness": 400}, "/stiffness", "not a member"),
    ],
)
def test_refusals(
    checker: FlaskClient, asked: Body, changes: Body, pointer: str, word: str
) -> None:
    [(where, detail)] = refused(checker, asked, **changes)
    assert where == pointer
    assert word in detail


def test_distances_need_a_drag(checker: FlaskClient, bare: Body) -> None:
    [(where, detail)] = refused(checker, bare, distances=["20 m"])
    assert where == "/drag" and "choose a drag model" in detail
    del bare["launch"]
    assert [where for where, _ in refused(checker, bare)] == ["/launch"]
