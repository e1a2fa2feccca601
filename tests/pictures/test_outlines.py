"""Text as outlines: each letter where the library's own outlines have it."""

import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping
from typing import Any

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from pictured import SVG, XLINK

from arrowloft.pictures.outlines import FONT, outlined

Letters = list[tuple[str, float, float]]

LINES = (
    "AVATAR, To Ty. LT 31.8 cm (1 %)",  # kerned
    "five offices fly  two   spaces",  # joined letters
    "ünï ± ° – “quoted”",
    "a--b---c <&> 'x' \"y\"",
    "e\u0301 x\u0323\u0302 q\u0307",  # signs over and under letters
    "before \u05e9\u05dc\u05d5\u05dd after",  # from right to left
    "\u0645\u0631\u062d\u0628\u0627 \u0628\u0643",  # and joined
)


def _written(kind: str, text: str, **how: Any) -> str:
    with matplotlib.rc_context(
        {"svg.fonttype": kind, "font.family": FONT, "text.parse_math": False}
    ):
        figure = Figure(figsize=(6.0, 2.0))
        figure.text(0.5, 0.5, text, **how)
        written = io.StringIO()
        canvas: Any = FigureCanvasSVG(figure)
        canvas.print_svg(written, metadata=dict.fromkeys(("Date", "Creator", "Format", "Type")))
    return written.getvalue()


def _ours(text: str, **how: Any) -> str:
    return outlined(_written("none", text, **how))


def _placed(svg: str) -> Letters:
    """Each letter that is more than room: its outline, and its place on the sheet, points."""
    root = ET.fromstring(svg)
    shapes = {one.get("id"): one.get("d", "") for one in root.iter(f"{SVG}path") if one.get("id")}
    found = []
    for group in root.iter(f"{SVG}g"):
        said = group.get("transform", "")
        if "scale" not in said:
            continue
        told = {name: _numbers(inside) for name, inside in re.findall(r"(\w+)\(([^)]*)\)", said)}
        angle = np.deg2rad(told.get("rotate", [0.0])[0])
        turn = np.array(((np.cos(angle), -np.sin(angle)), (np.sin(angle), np.cos(angle))))
        for use in group.iter(f"{SVG}use"):
            shape = _shape(shapes[use.get(XLINK, "")[1:]])
            moved = re.match(r"translate\(([^)]*)\)", use.get("transform", ""))
            at = np.array([float(use.get("x", 0.0)), float(use.get("y", 0.0))])
            if moved:
                at[: len(_numbers(moved[1]))] += _numbers(moved[1])
            place = told["translate"] + turn @ (at * told["scale"])
            if shape:
                found.append((shape, float(place[0]), float(place[1])))
    return sorted(found)


def _numbers(text: str) -> Any:
    return np.array([float(one) for one in re.findall(r"-?[\d.]+(?:e-?\d+)?", text)])


def _shape(path: str) -> str:
    """An outline without its spaces and line breaks."""
    return re.sub(r"\s+", " ", re.sub(r"([MLQCz])", r" \1 ", path)).strip()


def _same(text: str, how: Mapping[str, Any], within: float) -> None:
    ours, theirs = (_placed(svg) for svg in (_ours(text, **how), _written("path", text, **how)))
    assert ours and [one[0] for one in ours] == [one[0] for one in theirs]
    assert np.allclose([one[1:] for one in ours], [one[1:] for one in theirs], atol=within)


@pytest.mark.parametrize("text", LINES)
@pytest.mark.parametrize("how", [{}, {"fontweight": "bold", "fontsize": 13}])
def test_each_letter_has_the_librarys_outline_and_place(text: str, how: dict[str, Any]) -> None:
    _same(text, how, 0.002)


@pytest.mark.parametrize(
    "how",
    [
        *({"ha": side} for side in ("center", "right")),
        {"rotation": 90, "ha": "center", "rotation_mode": "anchor"},
        {"rotation": 90, "ha": "right", "va": "top"},
        {"rotation": 30},
    ],
)
def test_a_line_stands_where_it_is_anchored(how: dict[str, Any]) -> None:
    """Half a point: the library takes what is inked, not how far the letters reach."""
    _same("To 31.8 cm", how, 0.5)


def test_a_letter_is_described_once_and_every_use_has_one() -> None:
    svg = _ours("to and fro, to and fro")
    root = ET.fromstring(svg)
    assert not list(root.iter(f"{SVG}text"))
    names = [one.get("id") for one in root.iter(f"{SVG}path") if one.get("id")]
    uses = {one.get(XLINK, "")[1:] for one in root.iter(f"{SVG}use")}
    assert len(names) == len(set(names)) and set(names) == uses


@pytest.mark.parametrize("text", ["a--b---c", "ends -", "<&> --> x"])
def test_a_line_is_told_beside_its_letters(text: str) -> None:
    parser = ET.XMLParser(target=ET.TreeBuilder(insert_comments=True))
    root = ET.fromstring(_ours(text), parser)
    [said] = [str(one.text) for one in root.iter(ET.Comment)]
    assert re.sub(r"- (?=-)", "-", said.strip()) == text.replace("&", "&amp;").replace(
        "<", "&lt;"
    ).replace(">", "&gt;")


def test_colour_and_faintness_stay() -> None:
    style = ET.fromstring(_ours("x", color="#8c1d40", alpha=0.5)).find(f".//{SVG}g[@style]")
    assert style is not None
    assert style.get("style") == "fill: #8c1d40; opacity: 0.5"
