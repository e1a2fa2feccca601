"""POST /v1/balance at the edge: figures, units, what restores, notes, and refusals."""

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import openapi, problems
from arrowloft.api.bow import balance
from arrowloft.api.resource import Edge, Limits
from arrowloft.core.setup.gravity import normal_gravity
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_WORKED = json.loads((EXAMPLES / "balance.request.json").read_text())
G = 9.80665
FIGURES = ("mass", "forward", "right", "up", "forward_moment", "sideways_moment")
_ASKED: Body = {
    "items": [
        {"name": "riser", "mass": "2 kg", "forward": "10 mm", "up": "5 mm"},
        {"name": "sight", "mass": "205 g", "forward": "160 mm", "right": "40 mm", "up": "110 mm"},
        {"name": "end weight", "mass": "100 g", "forward": "800 mm", "up": "-60 mm"},
        {"name": "side rod", "mass": "150 g", "forward": "-200 mm", "right": "-120 mm"},
        {"name": "plumb", "mass": "50 g", "up": "-300 mm"},
    ],
    "change": {"replace": [{"name": "sight", "mass": "310 g"}]},
}
HEAVIER = {"forward_moment": 0.105 * 0.16 * G, "sideways_moment": 0.105 * 0.04 * G}


@pytest.fixture(scope="module")
def edge() -> Edge:
    return Edge.of(Registry.discover(), Limits())


@pytest.fixture(scope="module")
def hung(edge: Edge) -> FlaskClient:
    """A client of this resource alone."""
    app = Flask("balance")
    balance.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def asked() -> Body:
    """A valid request, to be changed at will."""
    return copy.deepcopy(_ASKED)


def weighed(hung: FlaskClient, asked: Body, **changes: Any) -> Any:
    reply = hung.post("/v1/balance", json=asked | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refused(hung: FlaskClient, asked: Body, **changes: Any) -> list[tuple[str, str]]:
    reply = hung.post("/v1/balance", json=asked | changes)
    assert reply.status_code == 422, reply.get_data(as_text=True)
    return [(fault["pointer"], fault["detail"]) for fault in reply.get_json()["errors"]]


def restoring(hung: FlaskClient, asked: Body, item: str, by: str, **more: Any) -> Any:
    return weighed(hung, asked, restore={"item": item, "by": by, **more})


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def message(found: Any, code: str) -> str:
    [text] = [note["message"] for note in found["notes"] if note["code"] == code]
    return str(text)


def test_the_bow_as_given(hung: FlaskClient, asked: Body) -> None:
    del asked["change"]
    found = weighed(hung, asked)
    before = found["before"]
    assert before["mass"] == pytest.approx(2505.0)
    assert before["forward"] == pytest.approx((20 + 32.8 + 80 - 30) / 2.505, abs=1e-3)
    assert before["right"] == pytest.approx((8.2 - 18) / 2.505, abs=1e-3)
    assert before["up"] == pytest.approx((10 + 22.55 - 6 - 15) / 2.505, abs=1e-3)
    assert before["forward_moment"] == pytest.approx(0.1028 * G, abs=1e-6)
    assert before["sideways_moment"] == pytest.approx(-0.0098 * G, abs=1e-6)
    assert not found.keys() & {"after", "change", "restored", "launch", "drag", "air"}
    assert found["gravity"] == G
    assert {"units", "service", "notes"} <= found.keys()


def test_each_item_s_share(hung: FlaskClient, asked: Body) -> None:
    after = weighed(hung, asked)["after"]
    assert [item["name"] for item in after["items"]] == [item["name"] for item in asked["items"]]
    sight, plumb = after["items"][1], after["items"][4]
    assert [sight[name] for name in FIGURES[:4]] == [310.0, 160.0, 40.0, 110.0]
    assert sight["forward_moment"] == pytest.approx(0.0496 * G, abs=1e-6)
    assert sight["sideways_moment"] == pytest.approx(0.0124 * G, abs=1e-6)
    assert [plumb[name] for name in FIGURES] == [50.0, 0.0, 0.0, -300.0, 0.0, 0.0]
    for moment in FIGURES[4:]:
        total = sum(item[moment] for item in after["items"])
        assert after[moment] == pytest.approx(total, abs=5e-6)


def test_a_heavier_sight(hung: FlaskClient, asked: Body) -> None:
    found = weighed(hung, asked)
    for name in FIGURES:
        difference = found["after"][name] - found["before"][name]
        assert found["change"][name] == pytest.approx(difference, abs=2e-3)
    assert found["change"]["mass"] == pytest.approx(105.0)
    for name, moment in HEAVIER.items():
        assert found["change"][name] == pytest.approx(moment, abs=1e-6)
    assert "restored" not in found


def test_replaced_added_and_removed(hung: FlaskClient, asked: Body) -> None:
    """What stays keeps its order; what is left out of a replacement stays."""
    change = {
        "replace": [{"name": "sight", "forward": "-20 mm"}],
        "add": [{"name": "clicker", "mass": "12 g", "right": "15 mm"}],
        "remove": ["riser", "plumb"],
    }
    after = weighed(hung, asked, change=change)["after"]
    assert [item["name"] for item in after["items"]] == [
        "sight",
        "end weight",
        "side rod",
        "clicker",
    ]
    assert [after["items"][0][name] for name in FIGURES[:4]] == [205.0, -20.0, 40.0, 110.0]
    assert [after["items"][3][name] for name in FIGURES[:4]] == [12.0, 0.0, 15.0, 0.0]
    assert after["mass"] == pytest.approx(467.0)


def test_units_of_the_reply(hung: FlaskClient, asked: Body) -> None:
    plain = weighed(hung, asked)["before"]
    units = {"mass": "oz", "length": "in", "moment": "lbf in"}
    found = weighed(hung, asked, units=units)
    assert found["units"] | units == found["units"]
    before = found["before"]
    assert before["mass"] == pytest.approx(plain["mass"] / 28.349523125, rel=1e-6)
    assert before["forward"] == pytest.approx(plain["forward"] / 25.4, rel=1e-5)
    # 1 lbf in = 0.45359237 kg * 9.80665 m/s2 * 0.0254 m.
    moment = plain["forward_moment"] / (0.45359237 * G * 0.0254)
    assert before["forward_moment"] == pytest.approx(moment, abs=2e-5)
    assert found["change"]["forward"] < 1.0


def test_gravity_follows_the_latitude(hung: FlaskClient, asked: Body) -> None:
    standard = weighed(hung, asked)
    assert "gravity-standard" in codes(standard)
    found = weighed(hung, asked, site={"latitude": "78 deg"})
    assert "gravity-standard" not in codes(found)
    gravity = float(normal_gravity(78 * 3.141592653589793 / 180))
    assert found["gravity"] == pytest.approx(gravity, abs=1e-8)
    for state in ("before", "after"):
        moment = standard[state]["forward_moment"] * gravity / G
        assert found[state]["forward_moment"] == pytest.approx(moment, abs=2e-6)
        assert found[state]["forward"] == standard[state]["forward"]


def test_restored_by_mass(hung: FlaskClient, asked: Body) -> None:
    """16.8 g m too much ahead are 21 g at 800 mm; sideways all of the change is left."""
    found = restoring(hung, asked, "end weight", "mass")
    answer = found["restored"]
    assert (answer["item"], answer["by"]) == ("end weight", "mass")
    assert answer["mass"] == pytest.approx(79.0) and answer["mass_change"] == pytest.approx(-21.0)
    assert (answer["forward"], answer["forward_change"]) == (800.0, 0.0)
    assert answer["bow"]["mass"] == pytest.approx(2505.0 + 105.0 - 21.0)
    assert answer["bow"]["forward_moment"] == found["before"]["forward_moment"]
    assert answer["remaining"]["forward_moment"] == 0.0
    assert answer["remaining"]["mass"] == pytest.approx(84.0)
    sideways = HEAVIER["sideways_moment"]
    assert answer["remaining"]["sideways_moment"] == pytest.approx(sideways, abs=1e-6)
    text = message(found, "other-moment-remains")
    assert "sideways moment" in text and "0.0412 N m" in text and "to the right" in text
    assert "restored-by-centre" not in codes(found)


def test_restored_by_mass_sideways(hung: FlaskClient, asked: Body) -> None:
    """4.2 g m too much to the right are 35 g more at 120 mm to the left."""
    found = restoring(hung, asked, "side rod", "mass", axes="right")
    answer = found["restored"]
    assert answer["mass_change"] == pytest.approx(35.0)
    assert answer["remaining"]["sideways_moment"] == 0.0
    left = HEAVIER["forward_moment"] - 0.035 * 0.2 * G
    assert answer["remaining"]["forward_moment"] == pytest.approx(left, abs=1e-6)
    assert "forward moment" in message(found, "other-moment-remains")


def test_restored_by_length(hung: FlaskClient, asked: Body) -> None:
    found = restoring(hung, asked, "end weight", "length")
    answer = found["restored"]
    assert answer["forward"] == pytest.approx(632.0)
    assert answer["forward_change"] == pytest.approx(-168.0)
    assert (answer["mass"], answer["mass_change"]) == (100.0, 0.0)
    assert (answer["right"], answer["right_change"]) == (0.0, 0.0)
    assert answer["remaining"]["forward_moment"] == 0.0 != answer["remaining"]["sideways_moment"]
    assert {"restored-by-centre", "other-moment-remains", "restored-moment-only"} <= set(
        codes(found)
    )


def test_restored_by_length_both_ways(hung: FlaskClient, asked: Body) -> None:
    found = restoring(hung, asked, "side rod", "length", axes="both")
    answer = found["restored"]
    assert answer["forward"] == pytest.approx(-200.0 - 16.8 / 0.15, abs=2e-3)
    assert answer["right"] == pytest.approx(-120.0 - 4.2 / 0.15, abs=2e-3)
    assert answer["right_change"] == pytest.approx(-28.0, abs=2e-3)
    assert answer["remaining"]["forward_moment"] == answer["remaining"]["sideways_moment"] == 0.0
    assert "other-moment-remains" not in codes(found)


def test_a_moment_that_stays_is_not_worth_a_word(hung: FlaskClient, asked: Body) -> None:
    """Neither the riser nor the end weight is aside: 20 g m are 25 g at 800 mm."""
    asked["change"] = {"replace": [{"name": "riser", "forward": "20 mm"}]}
    found = restoring(hung, asked, "end weight", "mass")
    assert found["restored"]["mass"] == pytest.approx(75.0)
    assert found["restored"]["remaining"]["sideways_moment"] == 0.0
    assert "other-moment-remains" not in codes(found)


def test_an_added_item_may_restore(hung: FlaskClient, asked: Body) -> None:
    """What a new weight 400 mm behind must weigh: 16.8 / 0.4 = 42 g."""
    asked["change"]["add"] = [{"name": "new", "mass": "1 g", "forward": "-400 mm"}]
    answer = restoring(hung, asked, "new", "mass")["restored"]
    assert answer["mass"] == pytest.approx(42.0) and answer["mass_change"] == pytest.approx(41.0)


def test_the_other_side_is_said(hung: FlaskClient, asked: Body) -> None:
    """The riser's 8.4 mm back leaves it ahead; from 5 mm it comes to lie behind."""
    assert "restored-on-other-side" not in codes(restoring(hung, asked, "riser", "length"))
    asked["items"][0]["forward"] = "5 mm"
    found = restoring(hung, asked, "riser", "length")
    assert found["restored"]["forward"] == pytest.approx(-3.4)
    assert '"riser"' in message(found, "restored-on-other-side")
    asked["items"][0]["forward"] = "0 mm"  # on neither side
    found = restoring(hung, asked, "riser", "length")
    assert found["restored"]["forward"] == pytest.approx(-8.4)
    assert "restored-on-other-side" not in codes(found)


@pytest.mark.parametrize(
    ("restore", "sight", "code", "words"),
    [
        ({"item": "plumb", "by": "mass"}, "310 g", "restore-no-lever", "ahead of nor behind"),
        (
            {"item": "end weight", "by": "mass", "axes": "right"},
            "310 g",
            "restore-no-lever",
            "right nor left",
        ),
        ({"item": "end weight", "by": "mass"}, "1 kg", "restore-no-mass", "nothing, or less"),
        ({"item": "riser", "by": "mass"}, "5 kg", "restore-no-mass", '"riser"'),
        ({"item": "plumb", "by": "length"}, "2 kg", "restore-too-far", "sit 5744 mm from"),
    ],
)
def test_no_answer_is_null_with_a_reason(
    hung: FlaskClient, asked: Body, restore: Body, sight: str, code: str, words: str
) -> None:
    asked["change"]["replace"][0]["mass"] = sight
    found = weighed(hung, asked, restore=restore)
    assert found["restored"] is None
    assert words in message(found, code)
    assert "after" in found and "restored-moment-only" not in codes(found)


def test_more_than_a_bow_carries_is_null(hung: FlaskClient, asked: Body) -> None:
    """1 kg more at 160 mm asks for 32 kg more at 5 mm behind, beside the 150 g there are."""
    asked["items"][3]["forward"] = "-5 mm"
    asked["change"]["replace"][0]["mass"] = "1.205 kg"
    found = restoring(hung, asked, "side rod", "mass")
    assert found["restored"] is None
    assert "32150 g" in message(found, "restore-too-heavy")


def test_cautions_stand_in_every_reply(hung: FlaskClient, asked: Body) -> None:
    first = {"items": asked["items"]}
    for body in (first, asked, asked | {"restore": {"item": "riser", "by": "mass"}}):
        found = weighed(hung, body)
        assert codes(found)[0] == "added-mass-limits"
        text = message(found, "added-mass-limits")
        assert "makers" in text and "governing body" in text
        assert "archer's own" in message(found, "balance-mechanics-only")


def test_the_same_request_gives_the_same_bytes_by_query_too(hung: FlaskClient) -> None:
    posted = hung.post("/v1/balance", json=_WORKED)
    queried = hung.open("/v1/balance", method="QUERY", json=_WORKED)
    assert posted.status_code == queried.status_code == 200
    assert posted.data == queried.data


def test_the_reply_is_as_documented(hung: FlaskClient, asked: Body, edge: Edge) -> None:
    document = openapi.document([balance.resource(edge)], edge.limits, {})
    schema = {
        **document["components"]["schemas"]["BalanceReply"],
        "components": document["components"],
    }
    bare = {"items": asked["items"]}
    impossible = asked | {"restore": {"item": "plumb", "by": "mass"}}
    for body in (_WORKED, bare, asked, impossible):
        jsonschema.validate(weighed(hung, body), schema, jsonschema.Draft202012Validator)


def item(**members: Any) -> Body:
    return {"name": "new", "mass": "10 g"} | members


@pytest.mark.parametrize(
    ("changes", "pointer", "word"),
    [
        ({"items": []}, "/items", "1 to 50"),
        ({"items": [item()] * 51}, "/items", "1 to 50"),
        ({"items": [{"name": "riser"}]}, "/items/0/mass", "needed"),
        ({"items": [{"mass": "1 kg"}]}, "/items/0/name", "needed"),
        ({"items": [item(mass="0 g")]}, "/items/0/mass", "outside"),
        ({"items": [item(mass="-10 g")]}, "/items/0/mass", "outside"),
        ({"items": [item(mass="300 mm")]}, "/items/0/mass", "unit of"),
        ({"items": [item(mass=10)]}, "/items/0/mass", "string"),
        ({"items": [item(forward="3.1 m")]}, "/items/0/forward", "outside"),
        ({"items": [item(down="3 mm")]}, "/items/0/down", "not a member"),
        ({"items": [item(name=" ")]}, "/items/0/name", "1 to 60"),
        ({"bow": {}}, "/bow", "not a member"),
        ({"wind": {}}, "/wind", "not a member"),
        ({"site": {"latitude": "91 deg"}}, "/site/latitude", "outside"),
        ({"units": {"moment": "lbf"}}, "/units/moment", "lbf"),
        ({"change": {}}, "/change", "at least one of"),
        ({"change": {"replace": [{"name": "sight"}]}}, "/change/replace/0", "what differs"),
        (
            {"change": {"replace": [{"name": "sihgt", "mass": "9 g"}]}},
            "/change/replace/0/name",
            'did you mean "sight"?',
        ),
        ({"change": {"remove": ["riser", "quiver"]}}, "/change/remove/1", "known here: riser"),
        ({"change": {"remove": ["riser", "riser"]}}, "/change/remove/1", "changed twice"),
        (
            {"change": {"replace": [{"name": "riser", "up": "1 mm"}] * 2}},
            "/change/replace/1/name",
            "changed twice",
        ),
        (
            {"change": {"replace": [{"name": "riser", "up": "1 mm"}], "remove": ["riser"]}},
            "/change/remove/0",
            "changed twice",
        ),
        ({"change": {"add": [item(name="sight")]}}, "/change/add/0/name", "already"),
        ({"change": {"add": [item(), item()]}}, "/change/add/1/name", "twice"),
        (
            {"change": {"remove": [one["name"] for one in _ASKED["items"]]}},
            "/change/remove",
            "Leave something",
        ),
        (
            {"change": {"add": [item(name=str(number)) for number in range(46)]}},
            "/change/add",
            "51 items",
        ),
        ({"restore": {"item": "sigt", "by": "mass"}}, "/restore/item", 'mean "sight"'),
        ({"restore": {"item": "sight", "by": "height"}}, "/restore/by", "mass, length"),
        ({"restore": {"item": "sight"}}, "/restore/by", "needed"),
        ({"restore": {"item": "sight", "by": "mass", "axes": "both"}}, "/restore/axes", "one"),
        ({"restore": {"item": "sight", "by": "mass", "axes": "up"}}, "/restore/axes", "forward"),
    ],
)
def test_refusals(hung: FlaskClient, asked: Body, changes: Body, pointer: str, word: str) -> None:
    [(where, detail)] = refused(hung, asked, **changes)
    assert where == pointer
    assert word in detail


def test_names_given_twice_are_all_told(hung: FlaskClient, asked: Body) -> None:
    asked["items"] += [item(name="sight"), item(name="riser"), item(name="Riser")]
    assert [where for where, _ in refused(hung, asked)] == ["/items/5/name", "/items/6/name"]


def test_faults_of_a_change_are_all_told(hung: FlaskClient, asked: Body) -> None:
    change = {
        "replace": [{"name": "sight", "mass": "1 g"}, {"name": "x", "mass": "1 g"}],
        "add": [item(name="plumb")],
        "remove": ["y", "sight", "y"],
    }
    faults = refused(hung, asked, change=change)
    assert [where for where, _ in faults] == [
        "/change/replace/1/name",
        "/change/add/0/name",
        "/change/remove/0",
        "/change/remove/1",
        "/change/remove/2",
    ]
    assert 'No item named "y"' in faults[-1][1]


def test_what_came_off_cannot_restore(hung: FlaskClient, asked: Body) -> None:
    change, restore = {"remove": ["sight"]}, {"item": "sight", "by": "length"}
    [(where, detail)] = refused(hung, asked, change=change, restore=restore)
    assert where == "/restore/item"
    assert "on the bow after the change" in detail


def test_nothing_is_to_be_restored_without_a_change(hung: FlaskClient, asked: Body) -> None:
    del asked["change"]
    [(where, detail)] = refused(hung, asked, restore={"item": "sight", "by": "mass"})
    assert where == "/restore"
    assert "`change`" in detail
