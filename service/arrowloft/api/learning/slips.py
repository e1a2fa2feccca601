"""Slips of the pen that an observation which does not fit may hold: signs, and units."""

from arrowloft.core.learning.slips import SIGNS, Slip
from arrowloft.units import to_si


def _unit(of: str, dimension: str, wrote: str, meant: str, name: str) -> Slip:
    """One unit written for another, as inches-for-centimetres: cm was meant."""
    return Slip(name, of, to_si(1.0, dimension, meant) / to_si(1.0, dimension, wrote))


SLIPS = (
    *SIGNS,
    _unit("impact", "length", "in", "cm", "inches-for-centimetres"),
    _unit("impact", "length", "cm", "in", "centimetres-for-inches"),
    _unit("impact", "length", "in", "mm", "inches-for-millimetres"),
    _unit("impact", "length", "mm", "in", "millimetres-for-inches"),
    _unit("impact", "length", "cm", "mm", "centimetres-for-millimetres"),
    _unit("impact", "length", "mm", "cm", "millimetres-for-centimetres"),
    _unit("distance", "distance", "yd", "m", "yards-for-metres"),
    _unit("distance", "distance", "m", "yd", "metres-for-yards"),
    _unit("speed", "speed", "ft/s", "m/s", "feet-for-metres"),
    _unit("speed", "speed", "m/s", "ft/s", "metres-for-feet"),
)
"""What was written for what was meant."""

WORDS = {
    "sign": "up and down (and left and right) taken for each other",
    "up-for-down": "up and down taken for each other",
    "left-for-right": "left and right taken for each other",
    "sign-of-mark": "the mark counted the wrong way",
    "yards-for-metres": "the distance in metres, not yards",
    "metres-for-yards": "the distance in yards, not metres",
    "feet-for-metres": "the speed in m/s, not ft/s",
    "metres-for-feet": "the speed in ft/s, not m/s",
}
"""Slips in words; those of lengths are said as they are named."""
