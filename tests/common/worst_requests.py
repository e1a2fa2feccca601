"""The largest requests found for each resource: those that are answered, and those refused.

Made from the worked examples. A sawtooth is a tabulated drag law that bends at each of its
nodes, so that every flight through it is cut into as many pieces.
"""

import json
from pathlib import Path
from typing import Any, NamedTuple

_EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_EVERY = [
    *("launch_angle", "travel", "time", "speed", "energy", "momentum"),
    *("apex_height", "apex_distance", "descent_angle", "drift"),
]
_ECHO = "?echo=true"
JSON, CSV, SVG, PDF = "application/json", "text/csv", "image/svg+xml", "application/pdf"


class Worst(NamedTuple):
    """A request: what it is, of which resource, its body, the form and the query asked with."""

    name: str
    resource: str
    body: dict[str, Any]
    form: str = JSON
    query: str = ""

    @property
    def path(self) -> str:
        return f"/v1/{self.resource}{self.query}"


def _of(resource: str, **changes: Any) -> dict[str, Any]:
    body = json.loads((_EXAMPLES / f"{resource}.request.json").read_text())
    return {name: part for name, part in (body | changes).items() if part is not None}


def _range(near: float, far: float, count: int) -> dict[str, str]:
    step = (far - near) / (count - 1)
    return {"from": f"{near} m", "to": f"{far} m", "step": f"{step:.9f} m"}


def _sawtooth(nodes: int = 200, first: int = 1000) -> dict[str, Any]:
    reynolds = [first + 80_000 // nodes * place for place in range(nodes)]
    teeth = [1.5 + place % 2 for place in range(nodes)]
    return {"model": "table", "parameters": {"reynolds": reynolds, "coefficient": teeth}}


def _table(nodes: int) -> dict[str, Any]:
    """A smooth curve through as many nodes, as a wind tunnel may give."""
    reynolds = [4000 + 60_000 // nodes * place for place in range(nodes)]
    falling = [round(1.6 + 9000 / number, 4) for number in reynolds]
    return {"model": "table", "parameters": {"reynolds": reynolds, "coefficient": falling}}


_PARTS = {"model": "component", "parameters": {"vane_length": "46 mm", "vane_height": "10 mm"}}
"""The drag of an arrow from its parts: what its law computes for a value takes longest."""


def _wind(speed: str = "40 m/s") -> dict[str, str]:
    return {"speed": speed, "from": "60 deg"}


def _swept(pointer: str, count: int, first: str, last: str) -> dict[str, Any]:
    return {"pointer": pointer, "range": {"from": first, "to": last, "count": count}}


def sweep(quantities: list[str], distance: str = "50 m", slowest: str = "50 m/s") -> dict[str, Any]:
    """100,000 set-ups at one distance."""
    vary = [
        _swept("/launch/parameters/speed", 1000, slowest, "90 m/s"),
        _swept("/arrow/mass", 100, "15 g", "30 g"),
    ]
    own = {"distances": [distance], "vary": vary, "quantities": quantities}
    return _of("sweep", **own, samples=None, seed=None, quantiles=None)


def cube(side: int = 46) -> dict[str, Any]:
    """As many set-ups as a cube holds, three members of the set-up along its sides."""
    thickness = _swept("/arrow/shaft_diameter", side, "4.5 mm", "7 mm")
    return _cut(sweep(["launch_angle"]), side, thickness)


def ten_distances(quantities: list[str]) -> dict[str, Any]:
    """10,000 set-ups at ten distances each, by the slowest drag law."""
    distances = [f"{10 * place} m" for place in range(1, 11)]
    return _cut(sweep(quantities), 100) | {"distances": distances, "drag": _PARTS}


def _cut(body: dict[str, Any], side: int, *more: dict[str, Any]) -> dict[str, Any]:
    speeds = _swept("/launch/parameters/speed", side, "50 m/s", "90 m/s")
    masses = _swept("/arrow/mass", side, "15 g", "30 g")
    return body | {"vary": [speeds, masses, *more]}


def _laws(count: int, nodes: int) -> list[dict[str, Any]]:
    return [_sawtooth(nodes, 1000 + 17 * n) | {"label": f"law {n}"} for n in range(count)]


def _tables() -> list[dict[str, Any]]:
    found = []
    for n in range(64):
        law = _table(7)
        law["parameters"]["reynolds"] = [at + 17 * n for at in law["parameters"]["reynolds"]]
        found.append(law | {"label": f"table {n}"})
    return found


def _compared(drags: list[dict[str, Any]], distances: Any, path: Any = None) -> dict[str, Any]:
    return _of("comparison", baseline=None, drags=drags, distances=distances, path=path)


def _calibrated(own: bool = False, **changes: Any) -> dict[str, Any]:
    """own: whether each observation has wind, slope and air of its own."""
    seen = [
        {
            "name": f"end {place}",
            "distance": f"{18 + 0.6 * place:.2f} m",
            "up": f"{37 * place % 50 - 25} mm",
            "right": f"{17 * place % 40 - 20} mm",
            "arrows": 6,
            **(_own(place) if own else {}),
        }
        for place in range(100)
    ]
    return _of("calibration", distances=_range(18, 80, 1000), observations=seen, **changes)


def _own(place: int) -> dict[str, Any]:
    return {
        "wind": {"speed": f"{1 + 0.05 * place:.2f} m/s", "from": f"{3 * place} deg"},
        "slope": f"{0.2 * place - 10:.1f} deg",
        "air": {"temperature": f"{5 + 0.2 * place:.1f} degC"},
    }


def tabled(resource: str, **changes: Any) -> dict[str, Any]:
    """100 rows by a table of 12 nodes."""
    return _of(resource, distances=_range(10, 80, 100), drag=_table(12), **changes)


def _constants() -> list[dict[str, Any]]:
    return [
        {"model": "constant", "label": f"c {n}", "parameters": {"coefficient": 1 + n / 50}}
        for n in range(64)
    ]


def _fitted() -> dict[str, Any]:
    series = [
        {
            "name": f"series {n}",
            "aimed_at": "50 yd",
            "speeds": [
                {
                    "distance": f"{2.5 + place} yd",
                    "speed": f"{267.6 - 0.29 * place:.2f} ft/s",
                    "uncertainty": "0.5 ft/s",
                }
                for place in range(50)
            ],
        }
        for n in range(10)
    ]
    return _of("fit", series=series)


def _blocked() -> dict[str, Any]:
    """Many obstacles with long names, in the way of three paths."""
    names = [
        f"{place}: the lowest branch of the old oak beside the lane, at dusk"[:60]
        for place in range(20)
    ]
    branches = [
        {
            "name": name,
            "distance": f"{3 + 2 * place} m",
            "bottom_angle": f"{1 + 0.2 * place:.1f} deg",
        }
        for place, name in enumerate(names)
    ]
    return _of("clearance", obstacles=branches)


def _rolling() -> dict[str, Any]:
    """Hills, over which arrows are loosed in a storm at many elevations."""
    heights = [
        {"distance": f"{10 * place} m", "height": f"{(-1) ** place * 0.1 * place:.1f} m"}
        for place in range(1, 51)
    ]
    terrain = {"eye_height": "1.62 m", "heights": heights}
    releases = [f"{3.5 * place:.1f} deg" for place in range(1, 13)]
    return _of("overshoot", terrain=terrain, releases=releases, wind=_wind("20 m/s"))


def answered() -> list[Worst]:
    """Valid requests at the edge of what is answered."""
    still, steep = _of("error-budget", distances=_range(10, 80, 294)), {"slope": "60 deg"}
    hit = _of("hit-probability", distances=_range(10, 80, 250), farthest=None)
    marks = _of("mark-table", distances=_range(2, 190, 1000), wind=_wind(), **steep)
    every = [f"{10 * turn} deg" for turn in range(36)]
    winds = _of(
        "wind",
        distances=_range(2, 90, 6),
        speeds=[f"{n} m/s" for n in range(1, 21)],
        directions=every,
    )
    hills = [f"{3 * n - 60} deg" for n in range(41)]
    rigid = _of(
        "rigid-flight", distances=_range(20, 90, 10), target="100 m", samples=2000, slope="40 deg"
    )
    return [
        Worst("100,000 set-ups", "sweep", sweep(["launch_angle"])),
        Worst("100,000 set-ups, all columns", "sweep", sweep(_EVERY) | {"wind": _wind("20 m/s")}),
        Worst("100,000 set-ups as CSV", "sweep", sweep(_EVERY), CSV),
        Worst("a cube of set-ups", "sweep", cube()),
        Worst(
            "100,000 set-ups, all columns, with what they came of",
            "sweep",
            sweep(_EVERY) | {"wind": _wind("20 m/s")},
            query=_ECHO,
        ),
        Worst("a cube of set-ups, all columns", "sweep", cube() | {"quantities": _EVERY}),
        Worst("1,000 steep marks in a storm", "mark-table", marks),
        Worst("their picture", "mark-table", marks, PDF),
        Worst("720 winds", "wind", winds),
        Worst("their picture", "wind", winds, PDF),
        Worst("41 slopes", "slopes", _of("slopes", distances=_range(2, 220, 121), slopes=hills)),
        Worst("294 rows", "error-budget", still | steep),
        Worst("their picture", "error-budget", still, PDF),
        Worst("100 rows by a table", "error-budget", tabled("error-budget")),
        Worst(
            "100 chances by a table", "hit-probability", tabled("hit-probability", farthest=None)
        ),
        Worst("250 chances", "hit-probability", hit),
        Worst("their picture", "hit-probability", hit, PDF),
        Worst("64 laws", "comparison", _compared(_constants(), _range(20, 240, 78))),
        Worst("64 tables", "comparison", _compared(_tables(), _range(20, 80, 78))),
        Worst(
            "64 tables, with what they came of",
            "comparison",
            _compared(_tables(), _range(20, 80, 78)),
            query=_ECHO,
        ),
        Worst("100 observations", "calibration", _calibrated()),
        Worst("each in air of its own", "calibration", _calibrated(own=True)),
        Worst("their picture", "calibration", _calibrated(), PDF),
        Worst("20 obstacles", "clearance", _blocked()),
        Worst("their picture", "clearance", _blocked(), PDF),
        Worst("50 hills, 12 releases", "overshoot", _rolling()),
        Worst("their picture", "overshoot", _rolling(), SVG),
        Worst("2,000 samples", "rigid-flight", rigid),
        Worst("500 measurements", "fit", _fitted()),
        Worst("their picture", "fit", _fitted(), PDF),
    ]


def refused() -> list[Worst]:
    """Requests within every other limit that take more work than is allowed."""
    saw = _sawtooth()
    path = {"target": "100 yd", "step": "1 yd"}
    shifts = [{"length": f"{0.1 * n:.1f} mm"} for n in range(1, 51)]
    far = _range(2, 250, 1000)
    return [
        Worst("near the reach", "sweep", sweep(["speed"], "150 m", "25 m/s")),
        Worst("a sawtooth", "sweep", sweep(["speed"]) | {"drag": saw}),
        Worst("a sawtooth", "mark-table", _of("mark-table", distances=far, drag=saw)),
        Worst(
            "a sawtooth",
            "sight-travel",
            _of("sight-travel", distances=_range(2, 150, 1000), shifts=shifts, drag=saw),
        ),
        Worst(
            "a sawtooth",
            "hit-probability",
            _of("hit-probability", distances=_range(10, 80, 250), drag=saw),
        ),
        Worst(
            "a sawtooth",
            "error-budget",
            _of("error-budget", distances=_range(10, 80, 294), drag=saw),
        ),
        Worst(
            "paths through sawteeth",
            "comparison",
            _compared(_laws(32, 60), _range(20, 120, 78), path),
        ),
        Worst("in a storm", "calibration", _calibrated(wind=_wind())),
        Worst("by a table", "calibration", _calibrated(own=True, drag=_table(12))),
        Worst(
            "all columns as CSV",
            "sweep",
            ten_distances(_EVERY) | {"wind": _wind("5 m/s")},
            CSV,
        ),
    ]
