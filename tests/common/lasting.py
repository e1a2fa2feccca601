"""What two replies to the same request have in common."""

from werkzeug.test import TestResponse


def lasting(reply: TestResponse) -> dict[str, str]:
    """Its headers but for those that name this very request."""
    own = ("X-Request-Id", "traceresponse")
    return {name: value for name, value in reply.headers.items() if name not in own}
