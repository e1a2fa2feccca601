"""Who may ask: keys, of which only digests are kept."""

from flask import Flask

from arrowloft.operation.settings import Settings


def install(app: Flask, settings: Settings) -> None:
    """Not written yet."""
