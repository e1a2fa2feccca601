"""What is varied, read by the members that are pointed at: axes of a grid, and distributions."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft import units
from arrowloft.api.fields import Quantity
from arrowloft.api.schemas import Strict
from arrowloft.api.sweeping.pointers import Leaf, Target, target
from arrowloft.api.wording import unit_of
from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.sweeping.distributions import Distribution, LogNormal, Normal, Uniform
from arrowloft.core.sweeping.draws import draws

_LEAST_KEPT = 1e-3
"""Least share of a distribution that may be left between `from` and `to`: of less, the
quantiles lose digits, and it is hardly what was meant."""


@dataclass(frozen=True, kw_only=True)
class Axis:
    """A varied member of the grid: its values stay as they were given until they are asked for.

    place: in the list of varied members.  count: of values.  listed: them, SI; else they run
    evenly from `start` to `end`.
    """

    target: Target
    place: int
    count: int
    listed: tuple[float, ...] = ()
    start: float = 0.0
    end: float = 0.0

    def at(self, places: Lanes) -> Array:
        """The values at places on the axis, SI."""
        if self.listed:
            return np.array(self.listed)[places]
        way = places / (self.count - 1)
        return self.start * (1.0 - way) + self.end * way


@dataclass(frozen=True, kw_only=True)
class Sampled:
    """A varied member that is drawn.  place: in the list of varied members."""

    target: Target
    place: int
    distribution: Distribution

    def drawn(self, seed: int, start: int, stop: int) -> Array:
        """The draws start to stop, SI, whether the member allows them or not."""
        return draws(self.distribution, seed, self.target.pointer, start, stop)


Varied = Axis | Sampled


def varied_members(
    schema: Strict, body: Mapping[str, Any], listed: Sequence[Mapping[str, Any]]
) -> tuple[Varied, ...]:
    """The request's varied members; ValidationError names every fault, at /vary/i."""
    found: list[Varied] = []
    faults: dict[Any, Any] = {}
    seen: set[tuple[str, ...]] = set()
    for place, item in enumerate(listed):
        try:
            pointed = _pointed(schema, body, item["pointer"], seen)
            seen.add(pointed.steps)
            found.append(_varied(pointed, place, item))
        except ValidationError as error:
            faults[place] = error.messages
    if faults:
        raise ValidationError({"vary": faults})
    return tuple(found)


def _pointed(
    schema: Strict, body: Mapping[str, Any], pointer: str, seen: set[tuple[str, ...]]
) -> Target:
    try:
        pointed = target(schema, body, pointer)
        if pointed.steps in seen:
            raise ValidationError("This member is varied twice: keep one of them.")
    except ValidationError as error:
        raise ValidationError({"pointer": error.messages}) from None
    return pointed


def _varied(pointed: Target, place: int, item: Mapping[str, Any]) -> Varied:
    if "distribution" in item:
        ((name, given),) = item["distribution"].items()
        try:
            made = _DISTRIBUTIONS[name](pointed.member, given)
        except ValidationError as error:
            raise ValidationError({"distribution": {name: error.messages}}) from None
        return Sampled(target=pointed, place=place, distribution=made)
    if "range" in item:
        try:
            ends = _read(pointed.member, item["range"], "from", "to")
        except ValidationError as error:
            raise ValidationError({"range": error.messages}) from None
        count = item["range"]["count"]
        return Axis(target=pointed, place=place, count=count, start=ends["from"], end=ends["to"])
    try:
        values = _each(pointed.member, item["values"])
    except ValidationError as error:
        raise ValidationError({"values": error.messages}) from None
    return Axis(target=pointed, place=place, count=len(values), listed=values)


def _each(member: Leaf, values: Sequence[Any]) -> tuple[float, ...]:
    try:
        return tuple([member.read(value) for value in values])
    except ValidationError:
        return tuple(_read(member, dict(enumerate(values)), *range(len(values))).values())


def _read(member: Leaf, given: Mapping[Any, Any], *names: Any) -> dict[Any, float]:
    """Some of the values given, by the member itself; the faulty ones are named."""
    found: dict[Any, float] = {}
    faults: dict[Any, Any] = {}
    for name in names:
        if name in given:
            try:
                found[name] = member.read(given[name])
            except ValidationError as error:
                faults[name] = error.messages
    if faults:
        raise ValidationError(faults)
    return found


def _normal(member: Leaf, given: Mapping[str, Any]) -> Distribution:
    cut = _cut(member, given)
    mean = _centre(member, given, "mean", cut)
    try:
        deviation = _difference(member, given["standard_deviation"])
    except ValidationError as error:
        raise ValidationError({"standard_deviation": error.messages}) from None
    return _kept(Normal(mean=mean, standard_deviation=deviation, **cut))


def _log_normal(member: Leaf, given: Mapping[str, Any]) -> Distribution:
    cut = _cut(member, given)
    median = _centre(member, given, "median", cut)
    if not median > 0.0:
        raise ValidationError({"median": ["Give more than 0: a log-normal is of positive values."]})
    return _kept(LogNormal(median=median, factor=given["factor"], **cut))


def _uniform(member: Leaf, given: Mapping[str, Any]) -> Distribution:
    ends = _read(member, given, "from", "to")
    _check_order(ends)
    return Uniform(start=ends["from"], end=ends["to"])


CENTRES = {"normal": "mean", "log_normal": "median"}
"""The member that says where a distribution has its centre."""

_DISTRIBUTIONS = {"normal": _normal, "log_normal": _log_normal, "uniform": _uniform}


def _centre(member: Leaf, given: Mapping[str, Any], name: str, cut: Mapping[str, float]) -> float:
    """Mean or median, SI. One that is cut off is no value itself, and may be any number."""
    try:
        centre = _unbounded(member, given[name])
    except ValidationError as error:
        raise ValidationError({name: error.messages}) from None
    if centre < cut.get("low", -inf) or centre > cut.get("high", inf):
        return centre
    return _read(member, given, name)[name]


def _unbounded(member: Leaf, text: Any) -> float:
    """A value as the member reads it, whatever its bounds."""
    if isinstance(member, Quantity):
        return Quantity(member.dimension, example=member.example).read(text)
    return float(type(member)().read(text))


def _difference(member: Leaf, text: Any) -> float:
    """A standard deviation, SI: in a unit with an offset, such as degC, without that."""
    deviation = _unbounded(member, text)
    if isinstance(member, Quantity):
        deviation -= units.DIMENSIONS[member.dimension][unit_of(text, member.dimension)].offset
    if not deviation > 0.0:
        raise ValidationError("Give a standard deviation of more than 0.")
    return deviation


def _cut(member: Leaf, given: Mapping[str, Any]) -> dict[str, float]:
    """The ends of what is drawn: low and high, as far as they are given."""
    ends = _read(member, given, "from", "to")
    if len(ends) == 2:
        _check_order(ends)
    names = {"from": "low", "to": "high"}
    return {names[name]: value for name, value in ends.items()}


def _check_order(ends: Mapping[str, float]) -> None:
    if not ends["from"] < ends["to"]:
        raise ValidationError({"to": ["Give more than `from`."]})


def _kept(distribution: Distribution) -> Distribution:
    share = distribution.kept()
    if share < _LEAST_KEPT:
        raise ValidationError(
            f"Between `from` and `to` lie {share:.1g} of this distribution: give a centre nearer "
            f"to them, so that it is at least {_LEAST_KEPT:g}."
        )
    return distribution
