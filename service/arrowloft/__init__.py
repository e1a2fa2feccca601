"""arrowloft: a bow, an arrow and a sight turned into aim that can be trusted."""

__version__ = "0.1.0"
