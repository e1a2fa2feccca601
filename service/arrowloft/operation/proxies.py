"""What is believed of the proxies in front."""

from flask import Flask

from arrowloft.operation.settings import Settings


def install(app: Flask, settings: Settings) -> None:
    """Not written yet."""
