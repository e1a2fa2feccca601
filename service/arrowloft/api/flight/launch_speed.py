"""POST /v1/launch-speed: what one launch model says of this bow and this arrow."""

from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.replies import JSON
from arrowloft.api.reply_schemas import quantity, reply_schema
from arrowloft.api.resource import Edge, Resource
from arrowloft.api.setup import resolve
from arrowloft.api.shared import request_schema


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema("LaunchSpeedRequest", edge.models, {}, drag_required=False, shot=False)

    def view() -> Response:
        replies.negotiate(request, JSON)
        asked = schema.read(reading.read_object(request, edge.limits))
        setup = resolve(asked, edge.registry)
        units, mass = setup.units, float(setup.arrow.mass)
        own = {
            "speed": units.value(setup.speed, "speed"),
            "standard_uncertainty": units.value(setup.speed_uncertainty, "speed"),
            "energy": units.value(mass * setup.speed**2 / 2, "energy"),
            "momentum": units.value(mass * setup.speed, "momentum"),
        }
        return replies.json_reply(setup.reply(own))

    return Resource(
        path="/v1/launch-speed",
        name="launch_speed",
        summary="Launch speed by one model",
        description="Evaluates one launch model, with its uncertainty. `drag` is needed only where "
        "the model undoes a flight to where the speed was measured.",
        view=view,
        request=schema,
        reply=reply_schema(
            "LaunchSpeedReply",
            {
                "speed": quantity("speed", "Speed of the arrow as it leaves the string."),
                "standard_uncertainty": quantity("speed", "Its standard uncertainty."),
                "energy": quantity("energy", "Kinetic energy of the arrow then."),
                "momentum": quantity("momentum", "Momentum of the arrow then."),
            },
            drag_required=False,
        ),
        problems=("model-cannot-answer", "outside-validity"),
    )
