"""Which other origins' pages may read replies (CORS); none unless named."""

from flask import Flask

from arrowloft.operation.settings import Settings


def install(app: Flask, settings: Settings) -> None:
    """Not written yet."""
