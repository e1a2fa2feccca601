"""POST /v1/sight-scale: the marks as a printed scale at true size, several to a sheet."""

from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.replies import CSV, JSON
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import resolve
from arrowloft.api.sight.sight_scale_card import card_of
from arrowloft.api.sight.sight_scale_members import (
    check_together,
    chosen_scale,
    sight_scale_schema,
)
from arrowloft.api.sight.sight_scale_reply import Sheet, sight_scale_reply
from arrowloft.api.sight.sight_scale_scales import Scales
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.plugin import Note


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = sight_scale_schema(edge.models, edge.limits)
    drawn = edge.pictures.sight_scale

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        check_together(asked, body)
        notes: list[Note] = []
        sight = sight_of(asked["sight"], zero_distance(asked, notes))
        scales = Scales(asked, body, resolve(asked, edge.registry), sight, edge.registry)
        card, of = None, 0
        if "card" in asked:
            of = chosen_scale(asked)
            card = card_of(asked["card"], body["card"], scales.all[of], scales.units)
        sheet = Sheet(scales, body, card, of, notes)
        if form in PICTURED:
            return picture_reply(drawn, sheet.printed(), scales.units.chosen, form)
        if form == CSV:
            return replies.csv_reply(*sheet.table())
        return replies.json_reply(sheet.reply(), forms=2)

    return Resource(
        path="/v1/sight-scale",
        name="sight_scale",
        summary="Sight marks as a printed scale",
        description="The mark table as a scale at true size, ready to be printed, cut out and put "
        "on the sight: one strip or several, corrected by proven marks where these are given, with "
        "a pocket card. As image/svg+xml or application/pdf, the sheet in millimetres, with a rule "
        "to check the print by and a code that holds the request; as CSV, one line a tick, scale "
        "by scale. `launch`, `drag`, `air` and `notes` of the reply are the request's own "
        "set-up's, each scale has its own beside. Every scale counts from its own zero "
        "distance's mark; `zero_travel` says how far that is from the first scale's.",
        view=view,
        request=schema,
        reply=sight_scale_reply(),
        forms=(CSV, *PICTURED),
        problems=FLIGHT_PROBLEMS,
    )
