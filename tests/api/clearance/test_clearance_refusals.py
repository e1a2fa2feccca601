"""POST /v1/clearance: what it says of requests that do not fit."""

import pytest

from arrowloft.api import problems


def _set(path, value):
    def change(body):
        *way, last = path
        for step in way:
            body = body[step]
        if value is None:
            del body[last]
        else:
            body[last] = value

    return change


FIRST = ("obstacles", 0)
FAULTS = {
    "behind the eye": ((*FIRST, "distance"), "-3 m", "/obstacles/0/distance", "Give 0.3 m"),
    "beyond the target": ((*FIRST, "distance"), "45 m", "/obstacles/0/distance", "before the"),
    "at the target": ((*FIRST, "distance"), "44 m", "/obstacles/0/distance", "before the"),
    "left beyond right": ((*FIRST, "left"), "2 m", "/obstacles/0/left", "left of the right"),
    "bottom above top": ((*FIRST, "top"), "-5 m", "/obstacles/0/top", "must lie above"),
    "top at bottom": ((*FIRST, "top_angle"), "1.3 deg", "/obstacles/0/top_angle", "must lie above"),
    "twice": ((*FIRST, "bottom"), "1 m", "/obstacles/0/bottom_angle", "given twice"),
    "no edge": (FIRST, {"name": "x", "distance": "9 m"}, "/obstacles/0", "at least one edge"),
    "no name": ((*FIRST, "name"), None, "/obstacles/0/name", "add it"),
    "empty name": ((*FIRST, "name"), "  ", "/obstacles/0/name", "1 to 60"),
    "long name": ((*FIRST, "name"), "n" * 61, "/obstacles/0/name", "1 to 60"),
    "name of lines": ((*FIRST, "name"), "a\nb", "/obstacles/0/name", "one line"),
    "name a number": ((*FIRST, "name"), 7, "/obstacles/0/name", "in quotes"),
    "unknown edge": ((*FIRST, "botom"), "1 m", "/obstacles/0/botom", "did you mean"),
    "bare number": ((*FIRST, "left"), 0.4, "/obstacles/0/left", "a number and a unit"),
    "no ground": (("ground",), None, "/face_diameter", "add `ground`"),
    "no group": (("group",), None, "/lane", "add `group`"),
    "no sight": (("sight",), None, "/housing", "add `sight`"),
    "no marks": (("marks",), None, "/housing", "add `marks`"),
    "no housing": (("housing",), None, "/marks", "add `housing`"),
    "nothing to search": (("obstacles",), None, "/search_to", "add `obstacles`"),
    "short search": (("search_to",), "30 m", "/search_to", "beyond every obstacle"),
    "lane too long": (("lane", "distances"), ["50 m"], "/lane/distances/0", "ends at the target"),
    "far rise": (
        ("ground", "rises", 0, "distance"),
        "44 m",
        "/ground/rises/0/distance",
        "before the target",
    ),
    "upright": (("ground", "rises", 0, "height"), "150 m", "/ground/eye_height", "upright"),
    "beyond reach": (("target",), "900 m", "/target", "beyond reach"),
    "marks beyond reach": (("marks",), ["20 m", "900 m"], "/marks/1", "beyond reach"),
    "list": (("obstacles",), [], "/obstacles", "1 to 20"),
}


@pytest.mark.parametrize(("path", "value", "pointer", "words"), FAULTS.values(), ids=FAULTS.keys())
def test_what_does_not_fit_is_said_where_it_is(ask, asked, path, value, pointer, words):
    _set(path, value)(asked)
    response = ask(asked)
    assert response.status_code == 422
    assert response.content_type == problems.MEDIA_TYPE
    errors = response.get_json()["errors"]
    assert pointer in [error["pointer"] for error in errors]
    detail = next(error["detail"] for error in errors if error["pointer"] == pointer)
    assert words in detail
    assert detail.endswith((".", "?"))


def test_heights_above_ground_need_the_ground(ask, plain):
    plain["obstacles"] = [
        {"name": "a", "distance": "9 m", "top_above_ground": "1 m"},
        {"name": "b", "distance": "50 m", "top": "1 m"},
    ]
    errors = ask(plain).get_json()["errors"]
    assert [error["pointer"] for error in errors] == [
        "/obstacles/0/top_above_ground",
        "/obstacles/1/distance",
    ]


def test_nothing_asked_for(ask, plain):
    (error,) = ask(plain).get_json()["errors"]
    assert error["pointer"] == "/obstacles"
    assert "lane" in error["detail"]


def test_rises_come_in_order(ask, plain):
    rises = [{"distance": d, "height": "0 m"} for d in ("20 m", "10 m")]
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "1.2 m", "rises": rises}
    (error,) = ask(plain).get_json()["errors"]
    assert error["pointer"] == "/ground/rises/1/distance"
