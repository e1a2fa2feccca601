"""How many may wait: a full server says so at once."""

from flask import Flask

from arrowloft.operation.settings import Settings


def install(app: Flask, settings: Settings) -> None:
    """Not written yet."""
