"""What /v1/sight-scale gives: the scales as figures, as one long table, and as a sheet."""

from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any

import numpy as np
from marshmallow import Schema

from arrowloft.api import replies
from arrowloft.api.canonical import canonical
from arrowloft.api.replies import Column, ReplyUnits
from arrowloft.api.reply_schemas import (
    SolutionReply,
    flag,
    many,
    part,
    quantity,
    reply_schema,
    text,
)
from arrowloft.api.schemas import Strict, strict
from arrowloft.api.setup import AIM_NOT_SAFETY
from arrowloft.api.sight.changed_setup import ChangedReply, changed_reply
from arrowloft.api.sight.sight_scale_card import ScaleCardReply, SolvedCard
from arrowloft.api.sight.sight_scale_notes import (
    ON_SHEET,
    PRINT,
    PROVE,
    TOO_LONG_FOR_CODE,
    numbers_note,
)
from arrowloft.api.sight.sight_scale_scales import OneScale, Scales
from arrowloft.api.tables import Head, columns, row_schema
from arrowloft.core.sight.printed import LONGEST, PrintedSheet
from arrowloft.core.sight.proven_marks import Proof
from arrowloft.plugin import Note

_CODE_HOLDS = 2953
"""Bytes in the largest QR code, with error correction of level L (ISO/IEC 18004)."""

_TICKS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the tick."),
    Head("travel", "length", "Travel of the pin from the zero distance, down positive."),
    Head("predicted_travel", "length", "The same, as the models alone have it."),
    Head("correction", "length", "What the proven marks add to it."),
    Head(
        "position",
        "length",
        "Of the tick on the strip from the zero distance's mark, towards the foot positive.",
    ),
)
_MARKS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the proven mark."),
    Head("travel", "length", "Travel as given."),
    Head("predicted_travel", "length", "Travel as the models have it."),
    Head("travel_uncertainty", "length", "Standard uncertainty of the predicted travel."),
    Head("correction", "length", "Given less predicted travel."),
    Head("residual", "length", "What the scale misses the mark by: nothing."),
)


def _tick_schema() -> Schema:
    row = row_schema("ScaleTick", _TICKS).fields
    return strict("ScaleTick", {**row, "numbered": flag("Whether it carries its distance.")})()


class OneScaleReply(ChangedReply):
    """One scale, and its set-up as resolved."""

    label = text("What it is called.")
    length = quantity("length", "From the first tick to the last on the strip.")
    least_gap = quantity("length", "Least distance from one tick to the next on the strip.")
    zero_travel = quantity(
        "length",
        "Travel of the pin from the first scale's zero mark to this one's, down positive, as "
        "predicted: so far apart the two strips belong on the sight.",
    )
    corrected_by = text(
        "Where its correction comes from: its own marks, the set-up's, or none.",
        enum=["own-marks", "set-up-marks", "nothing"],
    )
    ticks = many(_tick_schema(), "One row a tick, nearest first.")
    marks = many(
        row_schema("ScaleMarkRow", _MARKS), "Its own proven marks, nearest first.", required=False
    )


class ScaleSheetReply(Strict):
    """The sheet of paper."""

    paper = text("Paper.")
    longest = quantity("length", "Longest strip that it takes.")
    code = flag(
        "Whether a code is to hold the request; where strips and card leave no room for it, the "
        "sheet says so."
    )


def sight_scale_reply() -> Schema:
    """The reply."""
    return reply_schema(
        "SightScaleReply",
        {
            "zero_distance": quantity("distance", "Distance that travel counts from."),
            "scales": many(OneScaleReply(), "The scales, in the order asked for."),
            "marks": many(
                row_schema("SetUpMarkRow", _MARKS),
                "Proven marks of the set-up itself beside several scales, nearest first.",
                required=False,
            ),
            "card": part(ScaleCardReply(), "The pocket card.", required=False),
            "sheet": part(ScaleSheetReply(), "What they are printed on."),
            "solution": part(SolutionReply(), "How the flights were solved."),
        },
    )


class Sheet:
    """All that one request comes to, ready for any form.

    body: the request as it came, for the code.  card: None where none was asked for.
    card_scale: number of the scale that the card belongs to.  notes: of the sight's zero.
    """

    def __init__(
        self,
        scales: Scales,
        body: Mapping[str, Any],
        card: SolvedCard | None,
        card_scale: int,
        notes: list[Note],
    ) -> None:
        self.scales, self.card, self._card_scale = scales, card, card_scale
        self.units: ReplyUnits = scales.units
        self._asked_sheet = scales.asked.get("sheet", {})
        self.request, too_long = self._code(body)
        ticks = scales.ticks
        self.notes = [
            *([TOO_LONG_FOR_CODE] if too_long else []),
            *numbers_note(ticks.distance, ticks.numbered, self.units),
            *notes,
        ]

    def _code(self, body: Mapping[str, Any]) -> tuple[str | None, bool]:
        """What the code holds, and whether the request is too long for one."""
        if not self._asked_sheet.get("code", True):
            return None, False
        written = canonical(body)
        if len(written) > _CODE_HOLDS:
            return None, True
        return written.decode(), False

    def printed(self) -> PrintedSheet:
        """What is drawn."""
        every = [*self.scales.setup.notes, *self.notes, *self.scales.notes]
        for one in self.scales.all:
            every += [*one.new, *one.whose.told(one.own)]
        told = [note.message for note in every if note.code in ON_SHEET]
        return PrintedSheet(
            paper=self.scales.paper,
            title=self._asked_sheet.get("title", ""),
            date=self._asked_sheet.get("date", ""),
            strips=tuple(one.strip for one in self.scales.all),
            card=None if self.card is None else self.card.card,
            request=self.request,
            said=(*told, PROVE.message, AIM_NOT_SAFETY.message),
        )

    def table(self) -> tuple[list[str], list[list[Any]]]:
        """Headings and rows of the CSV form: one line a tick, scale by scale."""
        rows: list[list[Any]] = []
        for one in self.scales.all:
            found = _tick_columns(one)
            for row, number in zip(self.units.rows(found), one.strip.numbered, strict=True):
                rows.append([one.strip.label, *row, "true" if number else "false"])
        headings = [self.units.heading(column) for column in found]
        return ["scale", *headings, "numbered"], rows

    def reply(self) -> dict[str, Any]:
        """The JSON reply."""
        value = self.units.value
        own: dict[str, Any] = {
            "zero_distance": value(self.scales.sight.zero_distance, "distance"),
            "scales": [self._scale_reply(index) for index in range(len(self.scales.all))],
            "sheet": {
                "paper": self.scales.paper,
                "longest": value(LONGEST[self.scales.paper], "length"),
                "code": self.request is not None,
            },
            "solution": self._solution(),
        }
        if self.scales.proof is not None:
            own["marks"] = self.units.json_rows(_mark_columns(self.scales.proof))
        if self.card is not None:
            own["card"] = self.card.reply(self.units)
        told = [
            note
            for index, one in enumerate(self.scales.all)
            for note in (*one.new, *one.whose.told([*one.own, *self._flown_notes(index)]))
        ]
        return self.scales.setup.reply(own, [PRINT, PROVE, *self.scales.notes, *told, *self.notes])

    def _scale_reply(self, index: int) -> dict[str, Any]:
        one, value = self.scales.all[index], self.units.value
        position, first = one.strip.position, self.scales.all[0].scale
        body: dict[str, Any] = {
            "label": one.strip.label,
            "length": value(np.ptp(position), "length"),
            "least_gap": value(np.abs(np.diff(position)).min(), "length"),
            "zero_travel": value(first.zero_height - one.scale.zero_height, "length"),
            "corrected_by": one.corrected_by,
            "ticks": self._tick_rows(one),
        }
        if one.proof is not None:
            body["marks"] = self.units.json_rows(_mark_columns(one.proof))
        return body | changed_reply(one.setup, (*one.own, *self._flown_notes(index)))

    def _tick_rows(self, one: OneScale) -> list[dict[str, Any]]:
        found = _tick_columns(one)
        names = [column.name for column in found]
        return [
            {**dict(zip(names, row, strict=True)), "numbered": bool(number)}
            for row, number in zip(self.units.rows(found), one.strip.numbered, strict=True)
        ]

    def _flown_notes(self, index: int) -> list[Note]:
        return self.scales.all[index].flown_notes(self._airspeeds(index))

    def _airspeeds(self, index: int) -> tuple[float, float]:
        """Least and greatest airspeed flown for one scale and its card, m/s."""
        low, high = self.scales.all[index].airspeed_range
        if self.card is None or index != self._card_scale:
            return low, high
        return min(low, self.card.airspeeds[0]), max(high, self.card.airspeeds[1])

    def _solution(self) -> dict[str, float]:
        every = [self._airspeeds(index) for index in range(len(self.scales.all))]
        errors = [one.error for one in self.scales.all]
        if self.scales.proof is not None:
            every.append(self.scales.proof.foretold.airspeed_range)
            errors.append(self.scales.proof.foretold.error)
        airspeeds = min(low for low, _ in every), max(high for _, high in every)
        if self.card is None:
            return replies.solution(self.units, airspeeds, angle=max(errors))
        return replies.solution(
            self.units,
            airspeeds,
            angle=max(*errors, self.card.error),
            position=self.card.position_error,
        )


def _tick_columns(one: OneScale) -> list[Column]:
    ticks, travel = one.scale.ticks, one.scale.travel
    found = SimpleNamespace(
        distance=ticks.distance,
        travel=travel,
        predicted_travel=ticks.travel,
        correction=travel - ticks.travel,
        position=one.strip.position,
    )
    return columns(found, _TICKS)


def _mark_columns(proof: Proof) -> list[Column]:
    found = SimpleNamespace(
        distance=proof.marks.distance,
        travel=proof.marks.travel,
        predicted_travel=proof.foretold.travel,
        travel_uncertainty=proof.foretold.travel_uncertainty,
        correction=proof.added,
        residual=proof.residual,
    )
    return columns(found, _MARKS)
