"""Charts on paper are drawn from the descriptions the screens draw, without anything from outside."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "unit" / "app"))  # for result_cases.py

from result_cases import element_page, pairs, standard

from trayside.app.charts.contents import content_unit
from trayside.app.charts.element import element_figures
from trayside.app.charts.standards import control_figure
from trayside.model.result_series import ElementPage
from trayside.pages.chart_scripts import InstalledChartScripts
from trayside.pages.figures import figure_svg

SVG = "{http://www.w3.org/2000/svg}"
GOLD = content_unit("Au", typical_ppm=1.0)
FIGURES = [figure for group in element_figures(element_page()) for figure in group.figures]


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(svg).iter(f"{SVG}text")]


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure.name)
def test_every_figure_is_drawn_as_wide_as_asked(figure):
    svg = figure_svg(figure, width_px=480)
    root = ElementTree.fromstring(svg)
    assert float(root.get("width")) == pytest.approx(480, abs=2)
    assert "http" not in svg.replace('xmlns="http://www.w3.org/2000/svg"', "").replace(
        'xmlns:xlink="http://www.w3.org/1999/xlink"', ""
    )
    drawn = [node for node in root.iter(f"{SVG}path") if node.get("aria-roledescription") == "point"]
    expected = sum(len(figure.rows.get(name, ())) for name in ("points", "groups"))
    assert len(drawn) == expected


def test_a_control_chart_on_paper_names_its_limits_its_batches_and_what_lies_beyond():
    drawn = texts(figure_svg(control_figure(standard(), GOLD)))
    assert {"certified", "+3 sd", "−3 sd", "J-001", "J-006", "7.46", "within", "outside"} <= set(drawn)


def test_a_dense_chart_on_paper_is_small():
    svg = figure_svg(control_figure(standard(20_000, batches=300), GOLD))
    assert len(svg) < 600_000


def test_the_same_figure_gives_the_same_drawing():
    figure = control_figure(standard(), GOLD)
    assert figure_svg(figure) == figure_svg(control_figure(standard(), GOLD))


def test_a_name_with_markup_is_drawn_as_it_stands():
    odd = replace(standard(), material="<b>&")
    odd = replace(odd, points=replace(odd.points, job=("<i>",) * 60))
    assert "<i>" in texts(figure_svg(control_figure(odd, GOLD)))


def test_a_page_without_results_draws_empty_charts():
    none = replace(pairs(), first_ppm=pairs().first_ppm * 0)
    for group in element_figures(ElementPage("Au", pairs=(none,))):
        for figure in group.figures:
            ElementTree.fromstring(figure_svg(figure))


def test_the_program_for_browsers_is_made_once_and_needs_no_network():
    scripts = InstalledChartScripts()
    made = scripts.script()
    assert scripts.script() is made
    assert b"globalThis.drawChart=" in made
    assert b"import(" not in made[-2000:]
    assert scripts.version.replace(".", "").replace("-", "").isalnum()


def test_ids_of_two_charts_on_one_page_do_not_meet():
    ids = []
    for figure in FIGURES:
        svg = figure_svg(figure)
        root = ElementTree.fromstring(svg)
        own = [node.get("id") for node in root.iter() if node.get("id")]
        assert all(f"url(#{one})" in svg for one in own)
        assert svg.count("url(#") == sum(svg.count(f"url(#{one})") for one in own)
        ids += own
    assert ids
    assert len(set(ids)) == len(ids)
