"""What a sweep takes beside the set-up: what is varied, how often, and what is wanted of it."""

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError

from arrowloft.api.distances import Distances
from arrowloft.api.fields import Choice, Flag, Items, Number, Part, Text, WholeNumber
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.schemas import Member, Resolver, Strict, strict
from arrowloft.api.shared import request_schema
from arrowloft.core.sweeping.flown import QUANTITIES

MOST_INSTANCES = 300
"""Drag laws side by side in one block: each is asked by itself, at every step."""

COUNTS_AS = 20
"""Points that the cost of a drag law of its own comes to."""

MOST_VARIED = 12
MOST_QUANTILES = 21
MOST_DISTANCES = 100
_MOST_VALUES = 10_000
_HUGE = 10**15
"""Where counts end that a double holds exactly, with room: what they make is refused by number."""

USUAL_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


class Value(Member):
    """A value as the varied member takes it: a quantity in quotes, or a plain number.

    Read by that very member, as soon as the pointer has told which one that is.
    """

    def read(self, value: Any) -> Any:
        """The value as it stands."""
        if type(value) not in (str, int, float):
            raise ValidationError("Give a value as the varied member itself takes it.")
        return value

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """A text or a number."""
        return {"type": ["string", "number"]}


class _Exact(WholeNumber):
    """A whole number whose bounds are said to the last digit."""

    def read(self, value: Any) -> int:
        """The number as an int."""
        low, high = self.bounds.low, self.bounds.high
        if type(value) is int and not (low <= value <= high):  # type: ignore[operator]
            raise ValidationError(f"Give {low} to {high}; {value} is outside.")
        return super().read(value)


def _value(description: str, **options: Any) -> Value:
    return Value(f"{description}, as the varied member takes it.", **options)


_RANGE: dict[str, Member] = {
    "from": _value("First value", required=True),
    "to": _value("Last value", required=True),
    "count": _Exact(
        "How many values, evenly spaced, both ends among them.", low=2, high=_HUGE, required=True
    ),
}
_CUT: dict[str, Member] = {
    "from": _value("Nothing below is drawn; left out, no such end"),
    "to": _value("Nothing above is drawn; left out, no such end"),
}
_NORMAL: dict[str, Member] = {
    "mean": _value("Mean", required=True),
    "standard_deviation": _value(
        "Standard deviation, more than 0; of a temperature a difference, as in 2 degC",
        required=True,
    ),
    **_CUT,
}
_LOG_NORMAL: dict[str, Member] = {
    "median": _value("Median, more than 0", required=True),
    "factor": Number(
        "Standard deviation as a factor, more than 1: two thirds lie within the median divided "
        "by it and the median times it.",
        above=1.0,
        high=10.0,
        required=True,
    ),
    **_CUT,
}
_UNIFORM: dict[str, Member] = {
    "from": _value("Least value", required=True),
    "to": _value("Greatest value", required=True),
}


class _OneOf(Strict):
    """A schema of which exactly one of some members is given."""

    alternatives: tuple[str, ...] = ()

    def check(self, data: dict[str, Any]) -> None:
        """One, and one alone."""
        if sum(name in data for name in self.alternatives) != 1:
            raise ValidationError(f"Give exactly one of: {', '.join(self.alternatives)}.")


def _one_of(name: str, alternatives: Mapping[str, Member], **others: Member) -> Strict:
    kind: Any = _OneOf.from_dict({**others, **alternatives}, name=name)
    kind.alternatives = tuple(alternatives)
    made: Strict = kind()
    return made


_DISTRIBUTION = _one_of(
    "SweepDistribution",
    {
        "normal": Part(strict("SweepNormal", _NORMAL)(), "Normal."),
        "log_normal": Part(strict("SweepLogNormal", _LOG_NORMAL)(), "Log-normal."),
        "uniform": Part(strict("SweepUniform", _UNIFORM)(), "All values alike."),
    },
)
VARIED = _one_of(
    "SweepVaried",
    {
        "values": Items(Value("A value."), "Values, in this order.", most=_MOST_VALUES),
        "range": Part(strict("SweepRange", _RANGE)(), "Evenly spaced values."),
        "distribution": Part(_DISTRIBUTION, "Drawn `samples` times at every point of the grid."),
    },
    pointer=Text(
        "JSON pointer (RFC 6901) to a number or a quantity of this request: of bow, arrow, air, "
        "site, wind, slope, sight.radius, sight.zero_distance, or a parameter of launch or drag, "
        "elements of lists too, such as /launch/parameters/readings/0. A model takes the elements "
        f"of a list one set at a time: of drag each such set counts as {COUNTS_AS} points, and at "
        f"least {MOST_INSTANCES} are computed.",
        most=200,
        required=True,
    ),
)


def schema(models: ModelSchemas, most_distances: int) -> Strict:
    """The request's schema, an instance to be made once."""
    return request_schema("SweepRequest", models, _members(most_distances), sight=False)


def _members(most_distances: int) -> dict[str, Member]:
    return {
        "distances": Distances(
            min(most_distances, MOST_DISTANCES),
            "Distances that every set-up is aimed at: a list in any order, or a range.",
            required=True,
        ),
        "vary": Items(
            Part(VARIED, "One varied member."),
            "What is varied. Values and ranges form a grid, the first changing slowest; what has a "
            "distribution is drawn at every point of it.",
            most=MOST_VARIED,
            required=True,
        ),
        "samples": _Exact(
            "Draws at every point of the grid, the same at each; with a distribution alone.",
            low=2,
            high=_HUGE,
        ),
        "seed": _Exact(
            "Seed of the draws, repeated in the reply. A draw follows from the seed, its pointer "
            "and its number alone: it is the quantile at that output of Philox 4x64-10 under a "
            "key of seed and pointer.",
            low=0,
            high=2**53 - 1,
        ),
        "quantities": Items(
            Choice(QUANTITIES, "A column."),
            "Columns wanted, each once; left out, launch_angle, time and speed, with a sight "
            "travel too.",
            most=len(QUANTITIES),
        ),
        "quantiles": Items(
            Number("A probability.", low=0.0, high=1.0),
            "Probabilities whose quantiles a sampled sweep gives; left out, 0.05, 0.25, 0.5, 0.75 "
            "and 0.95.",
            most=MOST_QUANTILES,
        ),
        "rows": Flag(
            "Whether a sampled sweep gives every row as well; in forms of one table, instead of "
            "mean, deviation and quantiles. Left out, it does not."
        ),
    }
