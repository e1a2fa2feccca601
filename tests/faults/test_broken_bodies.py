"""Bodies that the server cannot read to their end: the sender's fault, not a defect."""

import json
from typing import Any

import pytest
from werkzeug.test import EnvironBuilder, run_wsgi_app

from arrowloft.app import create_app


class Broken:
    """What a server gives for a body whose chunks cannot be read."""

    def __init__(self, error: Exception) -> None:
        self.error = error

    def read(self, *_: Any) -> bytes:
        raise self.error


def asked(coding: str, source: Any) -> tuple[str, dict[str, Any]]:
    """Status and problem of a computation whose body comes chunked from this source."""
    environ = EnvironBuilder(
        "/v1/mark-table",
        method="POST",
        content_type="application/json",
        headers={"Transfer-Encoding": coding},
    ).get_environ()
    environ.pop("CONTENT_LENGTH", None)
    environ |= {"wsgi.input": source, "wsgi.input_terminated": True}
    body, status, _ = run_wsgi_app(create_app(), environ)
    return status, json.loads(b"".join(body))


@pytest.mark.parametrize("error", [ValueError("no chunk"), OSError("gone"), RuntimeError("else")])
def test_chunks_that_cannot_be_read(error: Exception) -> None:
    status, problem = asked("chunked", Broken(error))
    assert status.startswith("400")
    assert problem["type"] == "/problems/bad-request"
    assert "send it anew" in problem["detail"]
    assert str(error) not in problem["detail"]


@pytest.mark.parametrize("coding", ["gzip, chunked", "identity, chunked", "deflate"])
def test_other_codings_are_refused_unread(coding: str) -> None:
    status, problem = asked(coding, Broken(AssertionError("it was read")))
    assert status.startswith("400")
    assert "chunked and no more" in problem["detail"]
