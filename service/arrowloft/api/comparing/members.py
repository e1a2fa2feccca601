"""What a comparison is asked for: models with labels, a baseline, a tolerance, a path."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, cast

from marshmallow import ValidationError

from arrowloft.api.distances import Distances
from arrowloft.api.fields import Items, Number, Part, Quantity, Text
from arrowloft.api.labels import check_labels
from arrowloft.api.parameters import Chosen, ModelChoice, ModelSchemas
from arrowloft.api.resource import Limits
from arrowloft.api.schemas import Member, Resolver, Strict
from arrowloft.api.shared import distance, request_schema
from arrowloft.api.wording import nearest, shown

LONGEST_LABEL = 60
USUAL_TOLERANCE = 0.01
"""Height of the impact, m, where no tolerance is given: about what a good group hides."""

TOLERANCES: Mapping[str, str] = {"height": "length", "right": "length", "clicks": "number"}
"""Tolerance -> dimension, in the order of the reply."""

KINDS: Mapping[str, Literal["launch", "drag"]] = {"launches": "launch", "drags": "drag"}
"""Member that lists models -> what they model."""


@dataclass(frozen=True)
class Labelled:
    """A model as the caller chose it, and what it is called in the reply."""

    label: str
    chosen: Chosen


class LabelledModel(ModelChoice):
    """`{"label": text, "model": name, "parameters": {...}}`; no label: the model's name."""

    beside = ("label", "model", "parameters")
    label = Text("What to call it in the reply; left out, the model's name.", most=LONGEST_LABEL)

    def read(self, value: Any) -> Labelled:  # type: ignore[override]
        """The label, and the model with its parameters in SI."""
        if type(value) is not dict or "label" not in value:
            chosen = super().read(value)
            return Labelled(chosen.name, chosen)
        faults: dict[str, Any] = {}
        label, found = "", None
        try:
            label = self.label.read_item(value["label"])
        except ValidationError as error:
            faults["label"] = error.messages
        try:
            found = super().read({name: item for name, item in value.items() if name != "label"})
        except ValidationError as error:
            faults |= cast(dict[str, Any], error.messages)
        if found is None or faults:
            raise ValidationError(faults)
        return Labelled(label, found)

    def _one(self, name: str, resolver: Resolver) -> dict[str, Any]:
        schema = super()._one(name, resolver)
        text = self.label.json_schema(resolver) | {
            "description": self.label.metadata["description"]
        }
        return schema | {"properties": {"label": text, **schema["properties"]}}


class Baseline(Strict):
    """Which lane the others are held against."""

    launch = Text("Label of its launch model; left out, the first.", most=LONGEST_LABEL)
    drag = Text("Label of its drag model; left out, the first.", most=LONGEST_LABEL)


class PartingTolerance(Strict):
    """From what difference on two lanes are said to part."""

    height = Quantity(
        "length",
        "Of the impact, with the baseline's mark.",
        example="1 cm",
        low=1e-5,
        high=10.0,
    )
    right = Quantity(
        "length",
        "Of the impact to either side, with the baseline's mark; left out, in a wind from the "
        "side it is that of the height.",
        example="1 cm",
        low=1e-5,
        high=10.0,
    )
    clicks = Number(
        "Of the travel of the pin, in clicks of the sight; parts of a click count.",
        above=0.0,
        high=10_000,
    )

    def check(self, data: dict[str, Any]) -> None:
        """One must be given."""
        if not data:
            raise ValidationError(
                "Give height, right, clicks, or some of them; or leave the tolerance out."
            )


class ComparedPath(Strict):
    """A target, and the steps on the way to it."""

    target = distance("Distance of the aim point.", required=True)
    step = Quantity(
        "distance",
        "From one height of the path to the next, along the line of sight.",
        example="5 m",
        low=0.01,
        high=1000.0,
        required=True,
    )


class _Comparison(Strict):
    """A request whose labels tell its models apart."""

    def check(self, data: dict[str, Any]) -> None:
        """Labels are unique, the baseline is one of them, clicks are the sight's."""
        for member, kind in KINDS.items():
            check_labels(member, f"{kind} models", [item.label for item in data[member]])
            label = data.get("baseline", {}).get(kind)
            known = [item.label for item in data[member]]
            if label is not None and label not in known:
                fault = f"No {kind} model here is called {shown(label)}; {nearest(label, known)}"
                raise ValidationError({"baseline": {kind: [fault]}})
        if "clicks" in data.get("tolerance", {}) and "clicks_per_turn" not in data.get("sight", {}):
            fault = "Clicks are the sight's: give sight.travel_per_turn and sight.clicks_per_turn."
            raise ValidationError({"tolerance": {"clicks": [fault]}})


def comparison_schema(models: ModelSchemas, limits: Limits) -> Strict:
    """The request: the members that flights share, with lists of models for one of each."""
    shared = dict(request_schema("ComparedSetup", models, {}, sight=False).declared_fields)
    for kind in KINDS.values():
        del shared[kind]
    own: dict[str, Member] = {
        member: Items(
            LabelledModel(kind, models, f"A {kind} model."),
            f"The {kind} models: each flies with every {other} model.",
            most=limits.lanes,
            required=True,
        )
        for (member, kind), other in zip(KINDS.items(), ("drag", "launch"), strict=True)
    }
    own |= {
        "baseline": Part(
            Baseline(), "The lane that the others are held against; left out, the first of each."
        ),
        "distances": Distances(
            limits.distances,
            "Distances of the rows: a list in any order, or a range.",
            required=True,
        ),
        "tolerance": Part(
            PartingTolerance(),
            "When lanes part from the baseline; left out, 1 cm of height, and to either "
            "side in a wind from the side.",
        ),
        "path": Part(ComparedPath(), "Heights of the paths on the way to one target."),
    }
    named = _Comparison.from_dict(cast(Any, shared | own), name="ComparisonRequest")
    return cast(type[Strict], named)()


def baseline_of(asked: Mapping[str, Any]) -> int:
    """Position of the baseline among the lanes: every launch model with each drag model in turn."""
    given = asked.get("baseline", {})
    launch, drag = (_position(asked[member], given.get(kind)) for member, kind in KINDS.items())
    return launch * len(asked["drags"]) + drag


def _position(items: Sequence[Labelled], label: str | None) -> int:
    return 0 if label is None else [item.label for item in items].index(label)


def tolerance_of(asked: Mapping[str, Any], *, aside: bool) -> dict[str, float]:
    """The tolerances that partings are found for, m, and clicks.

    aside: whether a wind blows from the side; then what counts up and down counts there too.
    """
    given = dict(asked.get("tolerance", {"height": USUAL_TOLERANCE}))
    if aside and "height" in given:
        given.setdefault("right", given["height"])
    return {name: given[name] for name in TOLERANCES if name in given}


def check_lanes(asked: Mapping[str, Any], limits: Limits) -> None:
    """Raise ValidationError where there are more lanes, or rows of all of them, than computed."""
    counts = {member: len(asked[member]) for member in KINDS}
    lanes, distances = math.prod(counts.values()), len(asked["distances"])
    longest = max(counts, key=lambda member: counts[member])
    factors = " x ".join(f"{count} {member}" for member, count in counts.items())
    if lanes > limits.lanes:
        others = lanes // counts[longest]
        fault = (
            f"{factors} make {lanes} lanes, at most {limits.lanes} are compared: give at most "
            f"{max(limits.lanes // others, 1)} {longest}, or ask for them in several requests "
            "with the same baseline."
        )
        raise ValidationError({longest: [fault]})
    if lanes * distances <= limits.cells:
        return
    rows = (
        f"{distances} distances x {factors} make {distances * lanes} rows, at most "
        f"{limits.cells} are computed: give at most "
    )
    if distances >= counts[longest]:
        raise ValidationError({"distances": [f"{rows}{limits.cells // lanes} distances."]})
    most = limits.cells // (distances * (lanes // counts[longest]))
    raise ValidationError({longest: [f"{rows}{max(most, 1)} {longest}, or fewer distances."]})


def check_path(asked: Mapping[str, Any], limits: Limits) -> None:
    """Raise ValidationError where the path has more points than are computed."""
    if "path" not in asked:
        return
    points = int(asked["path"]["target"] / asked["path"]["step"]) + 1
    lanes = len(asked["launches"]) * len(asked["drags"])
    if points * lanes <= limits.cells:
        return
    fault = (
        f"{lanes} paths of {points} points make {lanes * points}, at most {limits.cells} are "
        "computed: give a longer step or fewer models."
    )
    raise ValidationError({"path": {"step": [fault]}})
