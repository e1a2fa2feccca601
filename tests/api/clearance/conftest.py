"""The fixtures of the tests of /v1/clearance."""

from clearance_requests import ask, asked, plain, resource  # noqa: F401
