"""Property tests try the same cases every time; ARROWLOFT_EXPLORE=1 lets them look for new ones."""

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

from arrowloft.api import time_limit
from arrowloft.api.resource import Limits

settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None, max_examples=500)
settings.load_profile("explore" if os.environ.get("ARROWLOFT_EXPLORE") else "same")


@pytest.fixture(scope="session", autouse=True)
def time_for_a_laden_machine() -> Iterator[None]:
    """Nothing is timed in the tests: in process, the usual limit of a request is ten times longer.

    A limit that a test sets itself stays what it is, and so does a served one.
    """
    within = time_limit.within
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(
            time_limit,
            "within",
            lambda seconds, call: within(
                10.0 * seconds if seconds == Limits.seconds else seconds, call
            ),
        )
        yield
