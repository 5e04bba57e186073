"""Charts on paper: the same descriptions the screens draw, as SVG, with nothing fetched from anywhere."""

from __future__ import annotations

import re

import vl_convert

from trayside.app.charts.figure import Figure

VEGA_LITE = "6.4"
COUNTED_NAME = re.compile(r"\b(clip|gradient_)(\d+)\b(?=[\")])")


def figure_svg(figure: Figure, *, width_px: int = 640) -> str:
    """The chart as SVG, `width_px` wide. The same figure gives the same text, and its ids begin with its name."""
    svg = vl_convert.vegalite_to_svg(
        figure.description(width_px=width_px), vl_version=VEGA_LITE, allowed_base_urls=[]
    )
    return _with_own_names(svg, figure.name)


def _with_own_names(svg: str, name: str) -> str:
    """The drawing program counts its ids on from chart to chart: count them anew in each."""
    counted: dict[str, str] = {}

    def renamed(found: re.Match[str]) -> str:
        return counted.setdefault(found[0], f"{name}-{found[1]}{len(counted) + 1}")

    return COUNTED_NAME.sub(renamed, svg)
