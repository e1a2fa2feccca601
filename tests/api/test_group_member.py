"""The group in requests and replies: three forms, one group, plain words."""

import statistics
from typing import Any

import pytest
from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import ValidationError

from arrowloft.api.archer import groups
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.schemas import documented, strict
from arrowloft.core.archer.groups import Group, largest_spread

REQUEST = strict("Asked", {"group": groups.group_member()})()
DEVIATIONS = {"distance": "50 m", "vertical": "35 mm", "sideways": "28 mm", "arrows": 24}
DIAMETER = {"distance": "50 m", "diameter": "12 cm", "arrows": 6}
UP, RIGHT = (30, -12, 4, 17, -41), (-15, 22, -3, 40, 8)
IMPACTS = {
    "distance": "50 m",
    "impacts": [
        {"up": f"{up} mm", "right": f"{right} mm"} for up, right in zip(UP, RIGHT, strict=True)
    ],
}


def group_of(given: dict[str, Any]) -> Group:
    return groups.group_of(REQUEST.read({"group": given})["group"])


def faults_of(given: Any) -> Any:
    with pytest.raises(ValidationError) as caught:
        REQUEST.read({"group": given})
    return caught.value.messages["group"]


def without(given: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in given.items() if name not in names}


def test_standard_deviations():
    assert group_of(DEVIATIONS) == Group(distance=50.0, vertical=0.035, sideways=0.028, arrows=24)


def test_sideways_left_out_is_as_vertical():
    group = group_of(without(DEVIATIONS, "sideways", "arrows"))
    assert group == Group(distance=50.0, vertical=0.035, sideways=0.035)


def test_diameter():
    group = group_of(DIAMETER)
    assert group == Group.of_diameter(50.0, 0.12, 6)
    assert group.sideways == 0.12 / largest_spread(6)


def test_impacts():
    """Deviations about their own mean, n - 1 in the denominator, and the arrows counted."""
    group = group_of(IMPACTS)
    assert group.vertical == pytest.approx(statistics.stdev(UP) / 1000, rel=1e-12)
    assert group.sideways == pytest.approx(statistics.stdev(RIGHT) / 1000, rel=1e-12)
    assert (group.distance, group.arrows, group.from_spread) == (50.0, 5, False)


def test_impacts_may_be_of_any_unit_and_point():
    inches = [
        {"up": f"{up / 25.4 + 9} in", "right": f"{right / 25.4 - 4} in"}
        for up, right in zip(UP, RIGHT, strict=True)
    ]
    group, moved = group_of(IMPACTS), group_of({"distance": "50 m", "impacts": inches})
    assert moved.vertical == pytest.approx(group.vertical, rel=1e-9)
    assert moved.sideways == pytest.approx(group.sideways, rel=1e-9)


def listed(*places: tuple[str, str]) -> dict[str, Any]:
    return {"distance": "50 m", "impacts": [{"up": up, "right": right} for up, right in places]}


@pytest.mark.parametrize(
    ("given", "member", "words"),
    [
        ({"distance": "50 m"}, "_schema", "`diameter` with `arrows`"),
        ({"distance": "50 m", "arrows": 6}, "_schema", "`diameter` with `arrows`"),
        (without(DEVIATIONS, "vertical"), "vertical", "up and down too"),
        (DIAMETER | {"vertical": "35 mm"}, "vertical", "leave this out"),
        (DIAMETER | {"sideways": "35 mm"}, "sideways", "leave this out"),
        (IMPACTS | {"vertical": "35 mm"}, "vertical", "leave this out"),
        (IMPACTS | {"sideways": "35 mm"}, "sideways", "leave this out"),
        (IMPACTS | {"diameter": "9 cm"}, "diameter", "leave this out"),
        (IMPACTS | {"arrows": 5}, "arrows", "leave this out"),
        (IMPACTS | {"impacts": []}, "impacts", "2 to 100"),
        (IMPACTS | {"impacts": IMPACTS["impacts"][:1]}, "impacts", "2 to 100"),
        (IMPACTS | {"impacts": 21 * IMPACTS["impacts"]}, "impacts", "2 to 100"),
        (IMPACTS | {"impacts": IMPACTS["impacts"][0]}, "impacts", "list in brackets"),
        (listed(*4 * [("1 cm", "2 cm")]), "impacts", "do not differ in `up`"),
        (listed(("1 cm", "2 cm"), ("1.01 cm", "3 cm")), "impacts", "do not differ in `up`"),
        (listed(("1 cm", "2 cm"), ("2 cm", "2 cm")), "impacts", "do not differ in `right`"),
        (without(DIAMETER, "arrows"), "arrows", "how many arrows"),
        (DIAMETER | {"arrows": 31}, "arrows", "2 to 30"),
        (DIAMETER | {"arrows": 1}, "arrows", "2 to 10000"),
        (DIAMETER | {"arrows": 6.5}, "arrows", "whole number"),
        (DIAMETER | {"diameter": "0.9 mm"}, "diameter", "outside"),
        (DIAMETER | {"diameter": "11 m"}, "diameter", "outside"),
        (DEVIATIONS | {"vertical": "0.05 mm"}, "vertical", "outside"),
        (DEVIATIONS | {"sideways": "2.1 m"}, "sideways", "outside"),
        (without(DEVIATIONS, "distance"), "distance", "needed"),
        (DEVIATIONS | {"diametre": "12 cm"}, "diametre", "diameter"),
    ],
)
def test_other_forms_are_told_what_to_do(given, member, words):
    faults = faults_of(given)
    assert list(faults) == [member]
    (sentence,) = faults[member]
    assert words in sentence
    assert sentence[0].isupper() or sentence[0] == '"'
    assert sentence.endswith((".", "?"))


@pytest.mark.parametrize("given", [DIAMETER, DEVIATIONS | {"vertical": "0.1 mm"}, DEVIATIONS])
def test_bounds_are_inclusive(given):
    group_of(given)
    group_of(without(DEVIATIONS, "arrows") | {"vertical": "2 m"})
    group_of(DIAMETER | {"diameter": "10 m", "arrows": 30})
    group_of(DIAMETER | {"diameter": "1 mm", "arrows": 2})


def test_each_impact_is_looked_at():
    faults = faults_of(listed(("1 cm", "5.1 m"), ("2", "0 mm"), ("-5 m", "5 m")))
    assert sorted(faults["impacts"]) == [0, 1]
    assert "-5 m to 5 m" in faults["impacts"][0]["right"][0]
    assert "needs a unit" in faults["impacts"][1]["up"][0]
    half = faults_of({"distance": "50 m", "impacts": [{"up": "1 cm"}, ["1 cm", "2 cm"]]})
    assert "needed" in half["impacts"][0]["right"][0]
    assert half["impacts"][1] == {"_schema": ["Give an object in braces {...}."]}


def test_as_many_impacts_as_allowed():
    assert group_of(IMPACTS | {"impacts": 20 * IMPACTS["impacts"]}).arrows == 100


def test_group_may_be_required():
    schema = strict("Needs", {"group": groups.group_member(required=True)})()
    with pytest.raises(ValidationError, match="needed"):
        schema.read({})
    assert REQUEST.read({}) == {}


def test_reply_is_in_its_units_and_as_documented():
    units = ReplyUnits({"distance": "yd", "length": "in"})
    reply = groups.group_reply(Group.of_diameter(45.72, 0.12, 6), units)
    assert set(reply) == set(groups.GroupReply().fields)
    assert groups.GroupReply().load(reply) == reply
    assert reply["distance"] == 50.0
    assert reply["vertical"] == pytest.approx(0.12 / largest_spread(6) / 0.0254, abs=1e-4)
    assert reply["relative_uncertainty"] == pytest.approx(0.24536, abs=1e-4)
    assert reply["arrows"] == 6


def test_reply_of_an_unknown_number_of_arrows():
    reply = groups.group_reply(group_of(without(DEVIATIONS, "arrows")), ReplyUnits({}))
    assert reply == {
        "distance": 50.0,
        "vertical": 35.0,
        "sideways": 28.0,
        "relative_uncertainty": None,
        "arrows": None,
    }
    assert groups.GroupReply().load(reply) == reply


def test_few_arrows_are_noted():
    (note,) = groups.group_notes(group_of(DIAMETER))
    assert note.code == "group-from-few-arrows"
    assert "6 arrows" in note.message
    assert "25 %" in note.message
    assert "rough" in note.message
    assert "More arrows would help." in note.message


@pytest.mark.parametrize(
    ("given", "noted"),
    [
        # 1 / sqrt(4 (n - 1)) passes 0.15 between 12 and 13 arrows.
        (DEVIATIONS | {"arrows": 12}, True),
        (DEVIATIONS | {"arrows": 13}, False),
        (without(DEVIATIONS, "arrows"), False),
        (DIAMETER | {"arrows": 20}, True),
        (DIAMETER | {"arrows": 21}, False),
        (IMPACTS, True),
        (IMPACTS | {"impacts": 3 * IMPACTS["impacts"]}, False),
    ],
)
def test_enough_arrows_are_not(given, noted):
    assert bool(groups.group_notes(group_of(given))) is noted


def test_two_resources_share_one_schema():
    plugin = MarshmallowPlugin()
    spec = APISpec("t", "1", "3.1.0", plugins=[plugin])
    plugin.converter.add_attribute_function(
        lambda _, field, **more: documented(plugin.converter, field)
    )
    for name in ("One", "Other"):
        schema = strict(name, {"group": groups.group_member()})()
        spec.components.schema(name, schema=schema)
    found = spec.to_dict()["components"]["schemas"]
    assert sorted(found) == ["Group", "GroupImpact", "One", "Other"]
    assert found["Group"]["required"] == ["distance"]
    assert "at least 1 mm" in found["Group"]["properties"]["diameter"]["description"] or (
        "at least 0.1 cm" in found["Group"]["properties"]["diameter"]["description"]
    )
