"""Where arrows landed, in requests: two forms, one meaning, plain words for what does not fit."""

from typing import Any

import numpy as np
import pytest
from marshmallow import ValidationError

from arrowloft.api.archer.landed import (
    check_landed,
    counts_unsaid,
    landed_members,
    landed_notes,
    landed_of,
    scatter_notes,
)
from arrowloft.api.schemas import Strict
from arrowloft.core.archer.archer_scatter import archer_scatter
from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.landed import Landed


class _Checked(Strict):
    def check(self, data: dict[str, Any]) -> None:
        check_landed(data)


SCHEMA = _Checked.from_dict(dict(landed_members()), name="AskedLanded")()
CENTRE = {"up": "3 cm", "right": "-2 cm", "arrows": 6}
ONE = {"up": "1 cm", "right": "1 cm"}
HIGH = {"up": "1 cm"}


def landed(given: dict[str, Any]) -> Landed:
    return landed_of(25.0, SCHEMA.read(given))


def test_arrows_one_by_one():
    impacts = [{"up": "3 cm", "right": "-1 cm"}, {"up": "-1 cm", "right": "4 cm"}]
    up, right = np.array([0.03, -0.01]), np.array([-0.01, 0.04])
    assert landed({"impacts": impacts}) == Landed.of_arrows(25.0, up, right)
    heights = [{"up": impact["up"]} for impact in impacts]
    assert landed({"impacts": heights}) == Landed.of_arrows(25.0, up)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (HIGH, Landed(distance=25.0, up=0.01)),
        (CENTRE, Landed(distance=25.0, up=0.03, right=-0.02, arrows=6)),
        (
            CENTRE | {"vertical": "5 cm"},
            Landed.of_deviations(25.0, 0.03, -0.02, 6, 0.05, 0.05),
        ),
        (
            CENTRE | {"vertical": "5 cm", "sideways": "40 mm"},
            Landed.of_deviations(25.0, 0.03, -0.02, 6, 0.05, 0.04),
        ),
        (CENTRE | {"diameter": "12 cm"}, Landed.of_diameter(25.0, 0.03, -0.02, 6, 0.12)),
        (CENTRE | {"diameter": "0 mm"}, Landed.of_diameter(25.0, 0.03, -0.02, 6, 0.0)),
        (CENTRE | {"vertical": "0 mm"}, Landed.of_deviations(25.0, 0.03, -0.02, 6, 0.0, 0.0)),
    ],
)
def test_a_centre(given, expected):
    assert landed(given) == expected


@pytest.mark.parametrize(
    ("given", "arrows"),
    [
        ({"impacts": [ONE]}, 1),
        ({"impacts": [ONE] * 60}, 60),
        ({"up": "-5 m", "right": "5 m"}, 1),
        (CENTRE | {"arrows": 10000, "vertical": "2 m"}, 10000),
        (CENTRE | {"arrows": 30, "diameter": "10 m"}, 30),
        (CENTRE | {"arrows": 2, "diameter": "1 cm"}, 2),
    ],
)
def test_bounds_are_inclusive(given, arrows):
    assert landed(given).arrows == arrows


REFUSED: list[tuple[dict[str, Any], tuple[str | int, ...], str]] = [
    ({}, ("_schema",), "give either `impacts`"),
    ({"right": "1 cm"}, ("up",), "height of the arrows' centre"),
    ({"arrows": 3}, ("up",), "height of the arrows' centre"),
    ({"impacts": [ONE], "up": "1 cm"}, ("up",), "leave this out"),
    ({"impacts": [ONE], "right": "1 cm"}, ("right",), "leave this out"),
    ({"impacts": [ONE], "arrows": 1}, ("arrows",), "leave this out"),
    ({"impacts": [ONE], "vertical": "1 cm"}, ("vertical",), "leave this out"),
    ({"impacts": [ONE], "diameter": "1 cm"}, ("diameter",), "leave this out"),
    ({"impacts": []}, ("impacts",), "0 values: give 1 to 60"),
    ({"impacts": [ONE] * 61}, ("impacts",), "61 values: give 1 to 60"),
    ({"impacts": [ONE] * 10000}, ("impacts",), "give 1 to 60"),
    ({"impacts": [{"right": "1 cm"}]}, ("impacts", 0, "up"), "needed"),
    ({"impacts": [ONE, HIGH]}, ("impacts", 1, "right"), "Other arrows have `right`"),
    ({"impacts": [HIGH, ONE]}, ("impacts", 0, "right"), "leave it out of all"),
    ({"up": "6 m"}, ("up",), "-5 m to 5 m"),
    ({"up": "1 cm", "right": "-5.1 m"}, ("right",), "outside"),
    ({"up": 3}, ("up",), "a number and a unit"),
    ({"up": "3 deg"}, ("up",), "length"),
    (CENTRE | {"arrows": 0}, ("arrows",), "1 to 10000"),
    (CENTRE | {"arrows": -6}, ("arrows",), "1 to 10000"),
    (CENTRE | {"arrows": 10001}, ("arrows",), "1 to 10000"),
    (CENTRE | {"arrows": 2.5}, ("arrows",), "whole number"),
    (CENTRE | {"vertical": "-1 mm"}, ("vertical",), "outside"),
    (CENTRE | {"diameter": "-1 mm"}, ("diameter",), "outside"),
    (CENTRE | {"vertical": "1 cm", "diameter": "3 cm"}, ("vertical",), "not both"),
    (CENTRE | {"sideways": "1 cm", "diameter": "3 cm"}, ("sideways",), "not both"),
    (CENTRE | {"sideways": "1 cm"}, ("vertical",), "up and down too"),
    (HIGH | {"vertical": "1 cm"}, ("arrows",), "how many"),
    (HIGH | {"diameter": "1 cm"}, ("arrows",), "how many"),
    (CENTRE | {"arrows": 1, "vertical": "1 cm"}, ("arrows",), "does not scatter"),
    (CENTRE | {"arrows": 1, "diameter": "1 cm"}, ("arrows",), "leave out `diameter`"),
    (CENTRE | {"arrows": 31, "diameter": "1 cm"}, ("arrows",), "2 to 30"),
    ({"upp": "1 cm"}, ("upp",), "did you mean"),
]


@pytest.mark.parametrize(("given", "way", "words"), REFUSED)
def test_other_forms_are_told_what_to_do(given, way, words):
    with pytest.raises(ValidationError) as caught:
        SCHEMA.read(given)
    found: Any = caught.value.messages
    for step in way:
        assert list(found) == [step]
        found = found[step]
    (sentence,) = found
    assert words in sentence
    assert sentence.endswith((".", "?"))


def test_one_arrow_is_assumed_and_said():
    assert counts_unsaid(SCHEMA.read(HIGH))
    for told in (HIGH | {"arrows": 1}, {"impacts": [ONE]}):
        assert not counts_unsaid(SCHEMA.read(told))
    (note,) = landed_notes("/observations/2", "/observations/5")
    assert note.code == "arrows-assumed" and "`arrows`" in note.message
    assert "(/observations/2, /observations/5)" in note.message
    assert landed_notes() == []


def test_a_scatter_that_is_assumed_is_said():
    (note,) = scatter_notes(archer_scatter([landed({"impacts": [ONE, HIGH | {"right": "3 cm"}]})]))
    assert note.code == "scatter-assumed"
    for words in ("1.5 mrad", "9 cm at 60 m", "`group`"):
        assert words in note.message
    group = Group(distance=30.0, vertical=0.03, sideways=0.03, arrows=12)
    assert scatter_notes(archer_scatter([], group)) == []
