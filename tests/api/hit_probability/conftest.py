"""The fixtures of the tests of /v1/hit-probability."""

from hit_requests import ask, asked, plain, resource  # noqa: F401
