"""POST /v1/hit-probability: what it says of requests that do not fit, and where."""

import pytest
from hit_requests import refused, row

RINGS = [{"diameter": "20 cm", "points": 5}, {"diameter": "10 cm", "points": 8}]
GROUP = {"distance": "30 m"}
PAIR = [{"up": "1 cm", "right": "2 cm"}, {"up": "3 cm", "right": "-1 cm"}]


def zone(**sides):
    return {"zone": sides}


def face(**members):
    return {"zone": None, "face": members}


def ring(diameter, points, at=1):
    """Two good rings, one of them replaced."""
    rings = list(RINGS)
    rings[at] = {"diameter": diameter, "points": points}
    return face(rings=rings)


def errors(**given):
    return {"errors": given}


def movement(**given):
    return errors(movement=given)


def mark(*given):
    return errors(mark=[{"distance": at, "height": height} for at, height in given])


def group(**members):
    return {"group": GROUP | members}


def farthest(**members):
    return {"farthest": members}


TARGETS = {
    "neither": ({"zone": None}, "/zone", "give `zone` or `face`"),
    "both": ({"face": {"diameter": "40 cm"}}, "/face", "leave one of them out"),
    "no size": (zone(), "/zone", "Give `diameter`, or `width` and `height`"),
    "width alone": (zone(width="9 cm"), "/zone/height", "Give `height` too"),
    "height alone": (zone(height="9 cm"), "/zone/width", "Give `width` too"),
    "shape alone": (zone(shape="rectangle"), "/zone/width", "Give `width` too"),
    "two sizes": (zone(diameter="9 cm", height="9 cm"), "/zone/height", "leave this out"),
    "a circle of a shape": (zone(diameter="9 cm", shape="ellipse"), "/zone/shape", "is a circle"),
    "tiny": (zone(diameter="4.9 mm"), "/zone/diameter", "Give 5 mm to 5000 mm"),
    "huge": (zone(width="1 m", height="5.1 m"), "/zone/height", "to 5 m"),
    "no unit": (zone(diameter="8"), "/zone/diameter", "needs a unit"),
    "bare number": (zone(diameter=8), "/zone/diameter", "a number and a unit"),
    "unknown shape": (zone(width="1 m", height="1 m", shape="box"), "/zone/shape", "rectangle"),
    "radius": (zone(radius="4 in"), "/zone/radius", "diameter"),
    "no face": (face(), "/face", "`diameter` for a face of ten rings, or `rings`"),
    "lowest alone": (face(lowest=5), "/face", "`diameter` for a face"),
    "two faces": (face(diameter="40 cm", rings=RINGS), "/face/diameter", "leave this out"),
    "lowest of rings": (face(rings=RINGS, lowest=5), "/face/lowest", "leave this out"),
    "no rings": (face(rings=[]), "/face/rings", "give 1 to 12"),
    "many rings": (face(rings=RINGS * 7), "/face/rings", "14 values: give 1 to 12"),
    "wider within": (ring("21 cm", 8), "/face/rings/1", "outermost inward"),
    "as wide": (ring("20 cm", 8), "/face/rings/1", "each smaller than"),
    "fewer points within": (ring("10 cm", 4), "/face/rings/1", "of more points"),
    "as many points": (ring("10 cm", 5), "/face/rings/1", "of more points"),
    "points of nothing": (ring("20 cm", 0, at=0), "/face/rings/0/points", "more than 0"),
    "no points": (face(rings=[{"diameter": "9 cm"}]), "/face/rings/0/points", "add it"),
    "lowest of none": (face(diameter="40 cm", lowest=0), "/face/lowest", "1 to 10"),
    "lowest beyond ten": (face(diameter="40 cm", lowest=11), "/face/lowest", "1 to 10"),
    "half a ring": (face(diameter="40 cm", lowest=5.5), "/face/lowest", "whole number"),
    "yes": (face(diameter="40 cm", line_counts="yes"), "/face/line_counts", "true or false"),
    "aimed far off": ({"aimed_off": {"up": "-5.1 m"}}, "/aimed_off/up", "-5 m to 5 m"),
    "aimed left": ({"aimed_off": {"left": "1 cm"}}, "/aimed_off/left", "right"),
}

ERRORS = {
    "no movement": (movement(), "/errors/movement", "leave `movement` out"),
    "standing still": (movement(speed="0 m/s"), "/errors/movement", "leave `movement` out"),
    "late for nothing": (movement(delay="1 s"), "/errors/movement", "leave `movement` out"),
    "nowhere": (movement(speed="1 m/s"), "/errors/movement/towards", "90 deg: to the right"),
    "no speed": (
        movement(scatter="1 m/s", towards="90 deg"),
        "/errors/movement/towards",
        "Give `speed` beside `towards`",
    ),
    "backward": (
        movement(speed="-1 m/s", towards="0 deg"),
        "/errors/movement/speed",
        "0 m/s to 15 m/s",
    ),
    "a gallop": (movement(speed="16 m/s", towards="0 deg"), "/errors/movement/speed", "15 m/s"),
    "a distance twice": (
        mark(("20 yd", "1 cm"), ("40 m", "1 cm"), ("60 ft", "2 cm")),
        "/errors/mark/2/distance",
        "given before",
    ),
    "no marks": (mark(), "/errors/mark", "give 1 to 100"),
    "less than nothing": (mark(("20 m", "-1 cm")), "/errors/mark/0/height", "0 cm to 200 cm"),
    "no height": (errors(mark=[{"distance": "20 m"}]), "/errors/mark/0/height", "add it"),
    "a wild guess": (errors(range="21 m"), "/errors/range", "0 m to 20 m"),
    "a wild share": (errors(range_share=0.21), "/errors/range_share", "0 to 0.2"),
    "percents": (errors(range_share=6), "/errors/range_share", "0 to 0.2"),
    "a percent sign": (errors(range_share="6 %"), "/errors/range_share", "plain number"),
    "a bow on its side": (errors(roll="21 deg"), "/errors/roll", "0 deg to 20 deg"),
    "another bow": (errors(speed="6 m/s"), "/errors/speed", "0 m/s to 5 m/s"),
    "a storm along": (errors(wind_along="11 m/s"), "/errors/wind_along", "0 m/s to 10 m/s"),
    "a storm across": (errors(wind_across="-1 m/s"), "/errors/wind_across", "0 m/s to 10 m/s"),
    "unknown": (errors(cant="1 deg"), "/errors/cant", "known here: speed, roll, range"),
}

ARCHERS = {
    "no group": ({"group": None}, "/group", "add it"),
    "group of nothing": ({"group": GROUP}, "/group", "`diameter` with `arrows`, or `impacts`"),
    "diameter of how many": (group(diameter="9 cm"), "/group/arrows", "how many arrows"),
    "one arrow": (group(impacts=PAIR[:1]), "/group/impacts", "give 2 to 100"),
    "no place": (group(impacts=[{"up": "1 cm"}, PAIR[0]]), "/group/impacts/0/right", "add it"),
    "slow growth": ({"growth": 0.4}, "/growth", "0.5 to 3"),
    "fast growth": ({"growth": 3.1}, "/growth", "0.5 to 3"),
    "growth of text": ({"growth": "1"}, "/growth", "plain number"),
    "wind in the group": ({"in_group": ["speed", "wind"]}, "/in_group/1", "wind_along"),
    "a guess in the group": (
        {"in_group": ["range"]},
        "/in_group/0",
        "speed, roll, wind_along, wind_across",
    ),
    "in_group a word": ({"in_group": "speed"}, "/in_group", "list in brackets"),
    "allowed for": ({"wind_allowed_for": 1}, "/wind_allowed_for", "true or false"),
}

DISTANCES = {
    "no distances": ({"distances": None}, "/distances", "add it"),
    "none listed": ({"distances": []}, "/distances", "give 1 to 250"),
    "at the string": ({"distances": ["30 m", "1 m"]}, "/distances/1", "Too near"),
    "group at the string": (
        {"group": {"distance": "1 m", "vertical": "1 mm"}, "errors": {"speed": "1 m/s"}},
        "/group/distance",
        "Too near",
    ),
    "wanting nothing": (farthest(probability=0.009), "/farthest/probability", "0.01 to 0.9999"),
    "wanting all": (farthest(probability=1), "/farthest/probability", "0.01 to 0.9999"),
    "percent": (farthest(probability=90), "/farthest/probability", "0.01 to 0.9999"),
    "wanting": (farthest(up_to="50 m"), "/farthest/probability", "add it"),
    "backward": (
        farthest(probability=0.9, nearest="40 m", up_to="40 m"),
        "/farthest/up_to",
        "farther than `nearest`.",
    ),
    "nearer than the default": (
        farthest(probability=0.9, up_to="4 m"),
        "/farthest/up_to",
        "`nearest`, 5 m where left out",
    ),
    "farther than the default": (
        farthest(probability=0.9, nearest="150 m"),
        "/farthest/nearest",
        "`up_to`, 150 m where left out",
    ),
}

OTHERS = {
    "a misspelt member": ({"arrow_group": GROUP}, "/arrow_group", "not a member"),
}


@pytest.mark.parametrize(
    ("changes", "pointer", "words"),
    [
        pytest.param(*case, id=name)
        for part in (TARGETS, ERRORS, ARCHERS, DISTANCES, OTHERS)
        for name, case in part.items()
    ],
)
def test_what_does_not_fit_is_said_where_it_is(ask, plain, changes, pointer, words):
    [(where, sentence)] = refused(ask, plain, **changes)
    assert where == pointer
    assert words in sentence
    assert sentence[0].isupper() or sentence[0] in '"`-' or sentence[0].isdigit()
    assert sentence.endswith((".", "?"))


BEYOND = {
    "the last": ({"distances": ["30 m", "900 m"]}, ["/distances/1"]),
    "the middle": ({"distances": ["30 m", "900 m", "40 m"]}, ["/distances/1"]),
    "several": ({"distances": ["800 m", "30 m", "900 m"]}, ["/distances/0", "/distances/2"]),
    "a range": (
        {"distances": {"from": "30 m", "to": "900 m", "step": "435 m"}},
        ["/distances/to"],
    ),
    "the group": (
        {"group": {"distance": "900 m", "vertical": "1 m"}, "errors": {"speed": "1 m/s"}},
        ["/group/distance"],
    ),
    "both": (
        {
            "distances": ["900 m"],
            "group": {"distance": "900 m", "vertical": "1 m"},
            "errors": {"speed": "1 m/s"},
        },
        ["/distances/0", "/group/distance"],
    ),
    "where to begin": (
        {"farthest": {"probability": 0.9, "nearest": "700 m", "up_to": "900 m"}},
        ["/farthest/nearest"],
    ),
}


@pytest.mark.parametrize(("changes", "pointers"), BEYOND.values(), ids=BEYOND)
def test_beyond_reach_points_at_the_distance(ask, plain, changes, pointers):
    faults = refused(ask, plain, kind="beyond-reach", **changes)
    assert [where for where, _ in faults] == pointers
    assert all("the set-up reaches" in sentence for _, sentence in faults)


def test_several_faults_are_named_at_once(ask, plain):
    faults = refused(ask, plain, zone={"width": "9 cm"}, growth=0, errors={"roll": "1 m"})
    assert [where for where, _ in faults] == ["/zone/height", "/growth", "/errors/roll"]


@pytest.mark.parametrize(
    "changes",
    [
        zone(diameter="5 mm"),
        zone(width="5 m", height="5 m"),
        face(diameter="122 cm", lowest=10),
        errors(range="20 m"),
        errors(range_share=0.2),
        errors(roll="20 deg"),
        errors(speed="5 m/s", wind_along="10 m/s", wind_across="10 m/s"),
        mark(("20 m", "2 m")),
        movement(speed="15 m/s", towards="-360 deg", scatter="10 m/s", delay="10 s"),
        {"aimed_off": {"up": "5 m", "right": "-5 m"}},
        {"aimed_off": {}},
        {"growth": 0.5},
        {"growth": 3},
        farthest(probability=0.01),
        farthest(probability=0.9999),
    ],
)
def test_bounds_are_inclusive_and_chances_lie_between_none_and_all(ask, plain, changes):
    found = row(ask, plain, distances=["60 m"], **changes)
    assert 0 <= found["probability"] <= 1
    assert 0 <= found["error"] <= 1
