"""A sweep made ready: what varies, how many set-ups that makes, and what each of them is."""

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.parameters import ModelChoice
from arrowloft.api.problems import Fault, Problem, faults_in
from arrowloft.api.schemas import Strict
from arrowloft.api.sweeping.members import COUNTS_AS, MOST_INSTANCES, USUAL_QUANTILES
from arrowloft.api.sweeping.pointers import put
from arrowloft.api.sweeping.varied import CENTRES, Axis, Sampled, Varied, varied_members
from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.sweeping.grid import Blocks, Grid

Kind = Literal["drag", "launch"]


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
        return self._at(self.varied, *self.grid.places(start, stop))

    def _at(
        self, varied: Sequence[Varied], places: Sequence[Lanes], draw: Lanes
    ) -> dict[tuple[str, ...], Array]:
        lanes: dict[tuple[str, ...], Array] = {}
        which = iter(places)
        for item in varied:
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

    def varied_of(self, kind: Kind) -> tuple[Varied, ...]:
        """What is varied of a model's parameters."""
        return tuple(item for item in self.varied if item.target.steps[0] == kind)

    def sets(self, kind: Kind) -> Grid:
        """Grid of a model's own axes; drawn parameters differ with every draw."""
        own = self.varied_of(kind)
        counts = tuple(item.count for item in own if isinstance(item, Axis))
        return Grid(counts, self.grid.samples if len(counts) < len(own) else 1)

    def values_of(self, kind: Kind, start: int, stop: int) -> dict[tuple[str, ...], Array]:
        """Varied parameters of the model's sets start to stop, by their steps; SI."""
        places, draw = self.sets(kind).places(start, stop)
        return self._at(self.varied_of(kind), places, draw)

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
    _check_quantiles(asked.get("quantiles", ()))
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
    return _with_own_laws(plan, schema, most)


def takes_lanes(plan: Plan, kind: Kind, by_lane: bool) -> bool:
    """Whether one instance of a model takes all lanes of what is varied of it.

    by_lane: the model's own word; but then no element of a list may vary.
    """
    return by_lane and all(len(item.target.steps) == 3 for item in plan.varied_of(kind))


def _with_own_laws(plan: Plan, schema: Strict, most: int) -> Plan:
    """The plan, in smaller blocks where each set-up may have a drag law of its own."""
    choice = schema.load_fields["drag"]
    assert isinstance(choice, ModelChoice)
    chosen = plan.asked["drag"].name
    if takes_lanes(plan, "drag", choice.models[chosen].by_lane):
        return plan
    sets = plan.sets("drag").setups
    if sets * COUNTS_AS > max(most, MOST_INSTANCES * COUNTS_AS):
        detail = (
            f"{chosen!r} is asked with {sets} sets of parameters, and takes one at a time: at "
            f"most {max(most // COUNTS_AS, MOST_INSTANCES)} are computed, as each counts as "
            f"{COUNTS_AS} points. Give fewer values or samples, or ask in parts."
        )
        where = f"/vary/{plan.varied_of('drag')[0].place}"
        raise Problem("invalid-request", detail, (Fault(where, detail),))
    if sets <= MOST_INSTANCES:
        return plan
    return in_blocks_of(plan, min(plan.blocks.size, MOST_INSTANCES))


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


def _check_quantiles(probabilities: Sequence[float]) -> None:
    names = [quantile_name(probability) for probability in probabilities]
    for place, name in enumerate(names):
        if name in names[:place]:
            fault = f"{name} stands here twice: a column of that name is one too many."
            raise ValidationError({"quantiles": {place: [fault]}})


def quantile_name(probability: float) -> str:
    """What a column of quantiles is called, behind its quantity."""
    return f"quantile_{probability:.12g}"


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
        put(filled, item.target.steps, _first(given, item))
    try:
        return schema.read(filled)
    except ValidationError as error:
        places = {item.target.pointer: item.place for item in varied}
        faults = [
            Fault(f"/vary/{places[fault.pointer]}/pointer", f"In some set-up: {fault.detail}")
            if fault.pointer in places
            else fault
            for fault in faults_in(error.messages)
        ]
        if not any(fault.pointer.startswith("/vary/") for fault in faults):
            raise
        raise Problem("invalid-request", faults[0].detail, faults) from None


def _first(given: Mapping[str, Any], item: Varied) -> Any:
    """A value that a varied member takes, as it was written: of what is cut off, one inside."""
    if "values" in given:
        return given["values"][0]
    if "range" in given:
        return given["range"]["from"]
    assert isinstance(item, Sampled)
    ((name, distribution),) = given["distribution"].items()
    if name == "uniform":
        return distribution["from"]
    cut = item.distribution
    if cut.centre < cut.low:
        return distribution["from"]
    return distribution["to" if cut.centre > cut.high else CENTRES[name]]
