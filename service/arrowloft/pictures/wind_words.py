"""What a picture of the wind's effect says, and what it says to those who cannot see it."""

from collections.abc import Sequence

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.sight.wind_scene import WindScene
from arrowloft.pictures.ends import named
from arrowloft.pictures.over_distance import listed, shot_in_words, wind_from
from arrowloft.pictures.quantities import Quantities, readable, signed

_KNOWN = 1e-6
"""Impacts are known so well, m."""

_SEEN = 1e-3
"""Drift that is seen, m."""

CAUTION = (
    "Computed for a steady, level wind along the whole path. Real wind gusts: take these figures "
    "for its size, and let the arrows tell."
)


def title(scene: WindScene) -> str:
    """What is drawn."""
    count = scene.speed.size
    return "What the wind does" if count == 1 else f"What {count} winds do"


def subtitle(scene: WindScene, figures: Quantities) -> list[str]:
    """The shot, and what is kept."""
    return [
        f"{shot_in_words(figures, scene.shot, wind=False)}. Every arrow is shot with the mark of "
        "still air, the bow pointed at the target."
    ]


def wind_name(scene: WindScene, figures: Quantities, wind: int) -> str:
    """A wind by its speed and where it comes from."""
    speed = float(scene.speed[wind])
    if not speed:
        return "no wind"
    comes_from = wind_from(figures, float(scene.comes_from[wind]))
    return f"{figures.text(speed, 'speed')} from {comes_from}"


def last(values: Array) -> int | None:
    """The farthest point of a curve that has a value; None: it has none."""
    known = np.flatnonzero(np.isfinite(values))
    return int(known[-1]) if known.size else None


def shift_text(figures: Quantities, shift: float) -> str:
    """A shift and its unit, signed."""
    known = round(shift / _KNOWN) * _KNOWN
    return f"{signed(float(figures.read(known, 'length')))} {figures.chosen['length']}"


def ending(scene: WindScene, figures: Quantities, wind: int, values: Array) -> str:
    """How far off a wind takes the impact at the end of its curve."""
    at = last(values[wind])
    if at is None:
        return "its arrows never arrive"
    way = figures.text(float(scene.distance[at]), "distance")
    short = ", the last it reaches" if at < scene.distance.size - 1 else ""
    return f"{shift_text(figures, float(values[wind, at]))} at {way}{short}"


def clicks_text(scene: WindScene, wind: int) -> str:
    """Windage clicks that bring the impact back at the farthest distance; empty: no such sight."""
    clicks = scene.table.windage_clicks
    if clicks is None:
        return ""
    row = int(np.argmax(scene.table.distance[:: scene.speed.size])) * scene.speed.size + wind
    count = int(clicks[row])
    if not count:
        return "no click of windage"
    some = f"{abs(count)} click{'' if abs(count) == 1 else 's'}"
    return f"windage {some} {'right' if count > 0 else 'left'}"


def _directions(scene: WindScene, figures: Quantities) -> set[str]:
    return {wind_from(figures, angle) for angle in np.unique(scene.comes_from).tolist()}


def captions(scene: WindScene, figures: Quantities, *, drawn_up: bool) -> list[str]:
    """What stands under the picture.  drawn_up: whether the change of height is drawn."""
    said = []
    if scene.table.windage_clicks is not None:
        said.append(
            "Clicks: what brings the impact back at the farthest distance; right: the pin moves "
            "to the right."
        )
    if (scene.upwind > _SEEN).any():
        said.append(
            "Close by, some arrows come down on the side that the wind comes from: their tips turn "
            "into the wind sooner than it carries them away."
        )
    if any(text.endswith(figures.chosen["angle"]) for text in _directions(scene, figures)):
        said.append("Directions: clockwise from the target, as seen from above.")
    if not drawn_up:
        most = figures.text(float(np.nanmax(np.abs(scene.up), initial=0.0)), "length")
        said.append(f"The height of the impact changes by {most} at most: it is not drawn.")
    short = [wind for wind in range(scene.speed.size) if last(scene.drift[wind]) is None]
    if short:
        some = [wind_name(scene, figures, wind) for wind in short[:6]]
        more = f" and {len(short) - 6} more" if len(short) > 6 else ""
        said.append(f"Not drawn, as no arrow arrives: {'; '.join(some)}{more}.")
    others = scene.speed.size - len(short) - len(idle(scene.drift))
    if len(named(end_values(scene.drift))) < others:
        said.append(
            f"Of {scene.speed.size} winds, those that end farthest to either side are named; the "
            "others are thin lines."
        )
    return [*said, CAUTION]


def idle(values: Array) -> list[int]:
    """Positions of the winds that do nothing anywhere, (winds, points)."""
    return np.flatnonzero((np.abs(values) < _KNOWN).all(axis=1)).tolist()


_LISTED = 4
"""Winds that one label lists, at most."""


def idle_name(scene: WindScene, figures: Quantities, winds: Sequence[int]) -> str:
    """One name for several winds."""
    names = list(dict.fromkeys(wind_name(scene, figures, wind) for wind in winds))
    return listed(names) if len(names) <= _LISTED else f"{len(names)} winds"


def end_values(values: Array) -> list[float]:
    """Where each curve ends; NaN for one that has no point."""
    ends = [last(curve) for curve in values]
    return [np.nan if at is None else float(c[at]) for c, at in zip(values, ends, strict=True)]


_TOLD = 24
"""Winds of which all is told in words, at most; of more, those that are named."""


def described(scene: WindScene, figures: Quantities, said: Sequence[str]) -> str:
    """The picture in words; said: the captions."""
    count = scene.speed.size
    told = range(count) if count <= _TOLD else named(end_values(scene.drift))
    winds = []
    for wind in told:
        drift, up = (ending(scene, figures, wind, v) for v in (scene.drift, scene.up))
        clicks = clicks_text(scene, wind)
        more = f"; {clicks}" if clicks else ""
        name = wind_name(scene, figures, wind)
        winds.append(f"{name}: to the right {drift}; up {up}{more}.")
    ways = [figures.text(float(scene.asked[at]), "distance") for at in (0, -1)]
    span = listed(list(dict.fromkeys(ways)))
    head = f"Drift and change of height over distance, asked for between {span}."
    return readable(" ".join([head, *subtitle(scene, figures), *winds, *said]))
