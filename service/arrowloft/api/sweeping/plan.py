"""A sweep made ready: what varies, how many set-ups that makes, and what each of them is."""

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.problems import Fault, Problem
from arrowloft.api.schemas import Strict
from arrowloft.api.sweeping.members import USUAL_QUANTILES
from arrowloft.api.sweeping.pointers import put
from arrowloft.api.sweeping.varied import Axis, Sampled, Varied, varied_members
from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.setup.equipment import PIVOT_ALLOWANCE
from arrowloft.core.sweeping.grid import Blocks, Grid

_CHECKED = 1 << 16
"""Draws looked at together, to see whether their member allows them."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A sweep, of which nothing is expanded yet.

    body: the request as it was sent.  asked: as its schema has read it, SI; of each varied
    member it holds a value that the sweep takes.  varied: in the order of the request.
    distances: m.  quantities: columns wanted.  seed: of the draws, None where there are none.
    quantiles: of a sampled sweep, else none.  rows: whether every row is wanted.
    """

    body: Mapping[str, Any]
    asked: Mapping[str, Any]
    varied: tuple[Varied, ...]
    grid: Grid
    blocks: Blocks
    distances: Array
    quantities: tuple[str, ...]
    zero_distance: float | None
    seed: int | None
    quantiles: tuple[float, ...]
    rows: bool

    @property
    def sampled(self) -> bool:
        """Whether anything is drawn."""
        return self.seed is not None

    @property
    def points(self) -> int:
        """Rows: set-ups times distances."""
        return self.grid.setups * self.distances.size

    @cached_property
    def axes(self) -> tuple[Axis, ...]:
        """The varied members of the grid, the slowest first."""
        return tuple(item for item in self.varied if isinstance(item, Axis))

    def lanes(self, start: int, stop: int) -> dict[tuple[str, ...], Array]:
        """Values of the varied members of the set-ups start to stop, by their steps; SI."""
        places, draw = self.grid.places(start, stop)
        lanes: dict[tuple[str, ...], Array] = {}
        which = iter(places)
        for item in self.varied:
            if isinstance(item, Axis):
                lanes[item.target.steps] = item.at(next(which))
            else:
                lanes[item.target.steps] = self._drawn(item, draw)
        return lanes

    def lanes_of_points(self) -> dict[tuple[str, ...], Array]:
        """Values of the members of the grid at its points, by their steps; SI."""
        places, _ = Grid(self.grid.counts).places(0, self.grid.points)
        pairs = zip(self.axes, places, strict=True)
        return {axis.target.steps: axis.at(place) for axis, place in pairs}

    def _drawn(self, item: Sampled, draw: Lanes) -> Array:
        assert self.seed is not None
        first, last = int(draw[0]), int(draw[-1])
        if last - first == draw.size - 1:
            return item.drawn(self.seed, first, last + 1)
        # Over the end of the sample, into the next point's.
        return item.drawn(self.seed, 0, self.grid.samples)[draw]

    def with_lanes(self, lanes: Mapping[tuple[str, ...], Array]) -> dict[str, Any]:
        """The request as read, with arrays of lanes in place of the varied numbers.

        Model parameters stay as they are: `models.py` knows what a model makes of lanes.
        """
        asked = dict(self.asked)
        for (root, *inner), values in lanes.items():
            if root in ("launch", "drag"):
                continue
            asked[root] = {**asked.get(root, {}), inner[0]: values} if inner else values
        return asked


def plan_of(schema: Strict, body: dict[str, Any], most: int) -> Plan:
    """The plan of a request.  most: points that may be asked for.

    Raises ValidationError, Problem.
    """
    asked = schema.read(body)
    varied = varied_members(schema, body, asked["vary"])
    _check_sampling(asked, varied)
    counts = tuple(item.count for item in varied if isinstance(item, Axis))
    grid = Grid(counts, asked.get("samples", 1))
    distances = np.array(asked["distances"])
    _check_points(grid, distances.size, most)
    quantities = _quantities(asked)
    travel = "travel" in quantities
    plan = Plan(
        body=body,
        asked=_with_first_values(schema, body, varied),
        varied=varied,
        grid=grid,
        blocks=Blocks.of(grid.setups, distances.size + travel),
        distances=distances,
        quantities=quantities,
        zero_distance=_zero_distance(asked) if travel else None,
        seed=asked.get("seed"),
        quantiles=tuple(asked.get("quantiles", USUAL_QUANTILES)) if "seed" in asked else (),
        rows=asked.get("rows", "seed" not in asked),
    )
    _check_draws(plan)
    _check_lengths(plan)
    return plan


def in_blocks_of(plan: Plan, setups: int) -> Plan:
    """The plan in blocks of as many set-ups."""
    return replace(plan, blocks=Blocks(plan.grid.setups, setups))


def _check_sampling(asked: Mapping[str, Any], varied: tuple[Varied, ...]) -> None:
    faults: dict[str, list[str]] = {}
    if any(isinstance(item, Sampled) for item in varied):
        for name, what in (("samples", "how many to draw"), ("seed", "any whole number")):
            if name not in asked:
                faults[name] = [f"What has a distribution is drawn: say {what}."]
    else:
        for name in ("samples", "seed", "quantiles", "rows"):
            if name in asked:
                faults[name] = [
                    "Nothing is drawn here: leave this out, or vary a member by a distribution."
                ]
    if faults:
        raise ValidationError(faults)


def _check_points(grid: Grid, distances: int, most: int) -> None:
    points = grid.setups * distances
    if points <= most:
        return
    factors = [*(f"{count} values" for count in grid.counts)]
    factors += [f"{grid.samples} samples"] * (grid.samples > 1) + [f"{distances} distances"]
    detail = (
        f"{' x '.join(factors)} make {points} points; at most {most} are computed: give fewer "
        "values, samples or distances, or ask in parts."
    )
    raise Problem("invalid-request", detail, (Fault("/vary", detail),))


def _quantities(asked: Mapping[str, Any]) -> tuple[str, ...]:
    given: list[str] | None = asked.get("quantities")
    if given is None:
        usual = ("launch_angle", "time", "speed")
        return ("travel", *usual) if "sight" in asked else usual
    for place, name in enumerate(given):
        if name in given[:place]:
            raise ValidationError({"quantities": {place: [f"{name} stands here twice."]}})
        if name == "travel" and "sight" not in asked:
            raise ValidationError(
                {"quantities": {place: ["travel needs a sight: give sight.radius."]}}
            )
    return tuple(given)


def _zero_distance(asked: Mapping[str, Any]) -> float:
    return float(asked["sight"].get("zero_distance", min(asked["distances"])))


def _with_first_values(
    schema: Strict, body: dict[str, Any], varied: tuple[Varied, ...]
) -> dict[str, Any]:
    """The request as read, of each varied member a value that the sweep takes.

    So what a varied member needs beside it is asked for, as wind.from beside wind.speed.
    """
    filled = copy.deepcopy(body)
    for item in varied:
        given = body["vary"][item.place]
        put(filled, item.target.steps, _first(given))
    return schema.read(filled)


def _first(given: Mapping[str, Any]) -> Any:
    """A value that a varied member takes, as it was written."""
    if "values" in given:
        return given["values"][0]
    if "range" in given:
        return given["range"]["from"]
    ((name, distribution),) = given["distribution"].items()
    return distribution[{"normal": "mean", "log_normal": "median", "uniform": "from"}[name]]


def _check_draws(plan: Plan) -> None:
    """Refuse draws that their member would refuse, with their number."""
    faults = {}
    for item in plan.varied:
        if isinstance(item, Sampled):
            least, greatest = item.target.member.bounds.ends()
            outside = sum(
                int(np.count_nonzero(~((drawn >= least) & (drawn <= greatest))))
                for drawn in _all_draws(plan, item)
            )
            if outside:
                faults[item.place] = {
                    "distribution": [
                        f"{outside} of {plan.grid.samples} draws are outside of what this member "
                        "takes: make the distribution narrower, or cut it off with `from` and "
                        "`to`."
                    ]
                }
    if faults:
        raise ValidationError({"vary": faults})


def _all_draws(plan: Plan, item: Sampled) -> Iterator[Array]:
    assert plan.seed is not None
    for start in range(0, plan.grid.samples, _CHECKED):
        yield item.drawn(plan.seed, start, min(start + _CHECKED, plan.grid.samples))


def _power_stroke(asked: Mapping[str, Any]) -> Mask:
    bow = asked["bow"]
    return np.asarray(bow["draw_length"] - PIVOT_ALLOWANCE <= bow["brace_height"])


def _beyond_tip(asked: Mapping[str, Any]) -> Mask:
    arrow = asked["arrow"]
    return np.asarray(arrow["balance_point"] > arrow["length"])


_TOGETHER = (
    (
        "bow",
        ("brace_height", "draw_length"),
        _power_stroke,
        "leaves no power stroke: it must be less than the draw length less 1.75 in",
    ),
    (
        "arrow",
        ("balance_point", "length"),
        _beyond_tip,
        "lies beyond the tip: it must be at most the length",
    ),
)
"""Members that must fit together in every set-up, as the schemas of bow and arrow have it."""


def _check_lengths(plan: Plan) -> None:
    faults: dict[int, Any] = {}
    for root, names, broken, fault in _TOGETHER:
        which = [item for item in plan.varied if item.target.steps in {(root, n) for n in names}]
        if not which or not all(name in plan.asked.get(root, {}) for name in names):
            continue
        bad = sum(
            int(np.count_nonzero(broken(plan.with_lanes(plan.lanes(*block)))))
            for block in plan.blocks
        )
        if bad:
            faults[which[0].place] = {
                "pointer": [f"In {bad} of {plan.grid.setups} set-ups {root}.{names[0]} {fault}."]
            }
    if faults:
        raise ValidationError({"vary": faults})
