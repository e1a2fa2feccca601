"""What an operator sees of each request: metrics, and a line of log."""

from flask import Flask

from arrowloft.operation.settings import Settings


def install(app: Flask, settings: Settings) -> None:
    """Not written yet."""
