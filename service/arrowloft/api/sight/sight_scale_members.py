"""What /v1/sight-scale takes: its own members, and which of them go together."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.distances import Distances, check_farther
from arrowloft.api.fields import Choice, Flag, Items, Number, Part, Quantity, Text, WholeNumber
from arrowloft.api.labels import check_labels
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.resource import Limits
from arrowloft.api.schemas import Member, Resolver, Strict
from arrowloft.api.shared import Wind, distance, request_schema
from arrowloft.api.sight.changed_setup import changed_members
from arrowloft.api.wording import shown
from arrowloft.core.sight.printed import MOST_CARD_ROWS, MOST_STRIPS, PAPERS

MOST_TICKS = 400
"""Half a millimetre apart they fill the longest strip."""
_MOST_MARKS = 40
_LONGEST_LABEL = 30
NUMBER_EVERY = 5
"""Which ticks of a range carry their number, where nothing is said; of a list, all do."""
_APART = 1e-3
"""Least distance from one tick to the next, m: what a step has at least."""


class ScaleMark(Strict):
    """One proven mark."""

    distance = distance("Distance at which it was proven.", example="40 m", required=True)
    travel = Quantity(
        "length",
        "Travel of the pin from the sight's zero distance to it, down positive.",
        example="21.4 mm",
        low=-0.5,
        high=0.5,
        required=True,
    )


def _marks(description: str) -> Items:
    return Items(Part(ScaleMark()), description, most=_MOST_MARKS)


def _label(description: str = "", **options: Any) -> Text:
    return Text(description, most=_LONGEST_LABEL, **options)


class _OneScale(Strict):
    """One scale: a label, and what differs from the set-up."""

    def check(self, data: dict[str, Any]) -> None:
        """Its marks go from near to far."""
        check_farther(data.get("marks", ()), "marks")


def _scale_schema(models: ModelSchemas) -> Strict:
    members = {
        "label": _label("What the scale is called, unlike any other.", required=True),
        **changed_members(models, "ScaleSetup", "This scale's", "the set-up's"),
        "marks": _marks(
            "This scale's own marks, from near to far, that it goes through; left out, it is "
            "corrected by those of the set-up, where they are given."
        ),
    }
    named = _OneScale.from_dict(cast(Any, members), name="OneScale")
    return cast(type[Strict], named)()


class ScaleChoice(Member):
    """A scale by its label, or by its number in the order given, from 0."""

    _label = _label()
    _number = WholeNumber(low=0, high=MOST_STRIPS - 1)

    def read(self, value: Any) -> int | str:
        """Number or label, not yet looked up."""
        if type(value) is str:
            return self._label.read(value)
        if type(value) in (int, float):
            return self._number.read(value)
        raise ValidationError("Give a scale's label in quotes, or its number: 0 for the first.")

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """Either form."""
        return {"oneOf": [self._label.json_schema(resolver), self._number.json_schema(resolver)]}


class CardAllowance(Strict):
    """How far an impact may be off for the greatest roll."""

    diameter = Quantity(
        "length",
        "Diameter of a face or a zone, hit in the middle by a level bow.",
        example="40 cm",
        low=2e-3,
        high=10.0,
        required=True,
    )


class ScaleCard(Strict):
    """A pocket card, printed beside the scales."""

    distances = Distances(
        MOST_CARD_ROWS, "Distances of its rows: a list in any order, or a range.", required=True
    )
    scale = ScaleChoice(
        "Scale that it belongs to: its label, or its number from 0; left out, the first."
    )
    wind = Part(Wind(), "Wind for the columns of drift and windage; left out, there are none.")
    allowance = Part(
        CardAllowance(), "For the column of the greatest roll; left out, there is none."
    )


class ScaleSheet(Strict):
    """The sheet of paper."""

    paper = Choice(tuple(PAPERS), "Paper; a4 if left out.")
    title = Text("What stands above the scales.", most=60)
    date = Text("A date, as it is to be printed: the service knows none.", most=40)
    code = Flag("Whether a code holds the request, to compute the sheet again; true if left out.")


def sight_scale_schema(models: ModelSchemas, limits: Limits) -> Strict:
    """The request."""
    members: dict[str, Member] = {
        "distances": Distances(
            min(limits.distances, MOST_TICKS),
            "Distances of the ticks: a list in any order, or a range; two at least.",
            required=True,
        ),
        "number_every": WholeNumber(
            "Which ticks carry their distance as a number. Of a range: those at whole multiples "
            f"of so many steps, {NUMBER_EVERY} if left out: steps of 1 yd are numbered 20, 25, 30. "
            "Of a list, and where no tick stands at such a multiple: one in so many, from the "
            "nearest on; all of a list if left out.",
            low=1,
            high=100,
        ),
        "farther": Choice(
            ("down", "up"),
            "Which way distances grow on the strip; down if left out, as the pin goes.",
        ),
        "numbers": Choice(
            ("right", "left"), "Side of the ticks on which the numbers stand; right if left out."
        ),
        "magnification": Number(
            "Length on the scale per travel of the pin, for a pointer that moves more or less "
            "than the pin; 1 if left out.",
            low=0.1,
            high=10,
        ),
        "label": _label("What the one scale is called; left out, Marks."),
        "marks": _marks(
            "Marks proven or calibrated with the set-up itself, from near to far: given less "
            "predicted travel is added to the prediction, between marks by a monotone cubic of the "
            "distance (a line with two), beyond the first and the last held constant. Travel "
            "counts from the zero distance, so that this is proven with travel 0, unless its own "
            "mark is given. With `scales`, every scale without marks of its own is corrected by as "
            "much on top of its own prediction. A mark is refused that is off its prediction by "
            "more than half of it, 3 mm and five standard uncertainties."
        ),
        "scales": Items(
            Part(_scale_schema(models)),
            "Several scales on one sheet, each with what is different of it: `air` and `site` "
            "piece by piece, other members as a whole. Left out, one scale of the set-up itself.",
            most=MOST_STRIPS,
        ),
        "sheet": Part(ScaleSheet(), "The sheet of paper."),
        "card": Part(ScaleCard(), "A pocket card, printed beside the scales; left out, none."),
    }
    return request_schema("SightScaleRequest", models, members, sight=True)


def check_together(asked: Mapping[str, Any], body: Mapping[str, Any]) -> None:
    """Raise ValidationError for members that do not go together."""
    scales = asked.get("scales")
    check_farther(asked.get("marks", ()), "marks")
    if scales is not None:
        if "label" in asked:
            fault = "With `scales` this stands in each of them: move it there."
            raise ValidationError({"label": [fault]})
        check_labels("scales", "scales", [scale["label"] for scale in scales])
    _check_ticks(asked["distances"], type(body["distances"]) is list)
    if "card" in asked:
        chosen_scale(asked)


def _check_ticks(distances: Sequence[float], listed: bool) -> None:
    if len(distances) < 2:
        raise ValidationError({"distances": ["A scale has two ticks at least: give more."]})
    order = np.argsort(distances, kind="stable")
    close = np.flatnonzero(np.diff(np.array(distances)[order]) < 0.999 * _APART)
    if listed and close.size:
        twice = int(order[close[0] : close[0] + 2].max())
        fault = "This distance is in the list already, within a millimetre: give it once."
        raise ValidationError({"distances": {twice: [fault]}})


def chosen_scale(asked: Mapping[str, Any]) -> int:
    """Number of the scale that the card belongs to; raises ValidationError."""
    chosen = asked["card"].get("scale", 0)
    labels = labels_of(asked)
    if type(chosen) is int and chosen < len(labels):
        return chosen
    if chosen in labels:
        return labels.index(chosen)
    known = ", ".join(shown(label) for label in labels)
    raise ValidationError({"card": {"scale": [f"There is no such scale; known here: {known}."]}})


def labels_of(asked: Mapping[str, Any]) -> list[str]:
    """What the scales are called."""
    if "scales" in asked:
        return [scale["label"] for scale in asked["scales"]]
    return [asked.get("label", "Marks")]
