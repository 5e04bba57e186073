"""Charts: what is drawn is what the series hold; what is not drawn is said; one description for screen and paper."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))  # for result_cases.py, which these tests share

from result_cases import blanks, carried, element_page, pairs, standard

from trayside.app.charts import look
from trayside.app.charts.blanks import blank_figure, carry_over_figure
from trayside.app.charts.contents import content_unit
from trayside.app.charts.dense import DENSE, MOST_ODD, STRETCHES, bands, even_places, thinned
from trayside.app.charts.element import CloseLook, element_figures, unit_of
from trayside.app.charts.figure import SHOWN, slug, written
from trayside.app.charts.pairs import MOST_PAIRS, axis_figure, hard_figure, pair_figures, precision_figure, ratio_figure
from trayside.app.charts.standards import FRAME_SD, control_figure, cusum_figure, ewma_figure
from trayside.model.result_series import ElementPage

GOLD = content_unit("Au", typical_ppm=1.0)


def all_figures(page=None):
    return [figure for group in element_figures(page or element_page()) for figure in group.figures]


def test_contents_are_spoken_of_in_the_usual_unit():
    assert content_unit("Au", typical_ppm=2e4).label == "g/t"
    assert content_unit("Cu", typical_ppm=300.0).label == "ppm"
    percent = content_unit("Cu", typical_ppm=25_000.0)
    assert percent.label == "%"
    assert percent.of(25_000.0) == 2.5


def test_every_result_of_a_short_series_is_a_point_with_its_number_and_batch():
    series = standard()
    rows = control_figure(series, GOLD).rows["points"]
    assert [row["number"] for row in rows] == list(series.points.number)
    assert [row["batch"] for row in rows] == list(series.points.certificate_id)
    inside = np.abs(series.value_ppm - 0.5) <= FRAME_SD * 0.02
    drawn = np.array([row["value"] for row in rows])
    assert drawn[inside] == pytest.approx(series.value_ppm[inside], rel=1e-4)


def test_a_result_far_off_stands_on_the_edge_with_its_value_and_what_it_reads_like():
    series = standard()
    figure = control_figure(series, GOLD)
    far = figure.rows["points"][20]
    assert far["value"] == pytest.approx(0.5 + FRAME_SD * 0.02)
    assert far["beyond"] == "7.46"
    assert far["standing"] == look.MISTAKEN
    assert "reads like STD-H" in far["says"]
    assert "1 beyond the frame is drawn on its edge" in figure.says


def test_the_sentence_of_a_control_chart_counts_every_result_once():
    series = standard()
    figure = control_figure(series, GOLD)
    rejected = series.rejected.copy()
    rejected[20] = False
    assert f"{int(rejected.sum())} outside" in figure.says
    assert f"{int(series.warned.sum())} warned" in figure.says
    assert f"{60 - int(rejected.sum()) - int(series.warned.sum()) - 1} within" in figure.says


def test_limits_stand_at_the_certified_value_and_two_and_three_deviations():
    at = {row["label"]: row["at"] for row in control_figure(standard(), GOLD).rows["limits"] if row["label"]}
    assert at == pytest.approx({"certified": 0.5, "+2 sd": 0.54, "−2 sd": 0.46, "+3 sd": 0.56, "−3 sd": 0.44})


def test_a_dense_series_is_bands_and_its_oddest_results():
    series = standard(20_000, batches=300)
    figure = control_figure(series, GOLD)
    odd = series.rejected | series.warned | np.array([one is not None for one in series.other_material])
    assert len(figure.rows["points"]) == MOST_ODD
    assert len(figure.rows["bands"]) == STRETCHES
    assert sum(row["results"] for row in figure.rows["bands"]) == 20_000
    drawn = {row["number"] for row in figure.rows["points"]}
    strength = {number: abs(z) for number, z, is_odd in zip(series.points.number, series.z, odd, strict=True) if is_odd}
    assert min(strength[one] for one in drawn) >= max(z for one, z in strength.items() if one not in drawn) - 1e-12
    assert f"The {MOST_ODD} oddest are drawn, {int(odd.sum()) - MOST_ODD} more are not" in figure.says
    assert figure.table.left_out == max(0, int(odd.sum()) - SHOWN)


def test_a_close_look_draws_every_result_of_its_stretch():
    series = standard(20_000, batches=300)
    figure = control_figure(series, GOLD, window=(5001, 5400))
    assert [row["place"] for row in figure.rows["points"]] == list(range(5001, 5401))
    assert figure.rows["bands"] == []
    assert figure.settings["firstPlace"] == 5001
    assert len(figure.table.lines) == 400


def test_a_close_look_beyond_the_end_is_empty_not_wrong():
    figure = control_figure(standard(), GOLD, window=(900, 1000))
    assert figure.rows["points"] == []
    json.dumps(figure.description(), allow_nan=False)


def test_only_the_group_that_is_looked_at_closely_is_cut():
    page = ElementPage("Au", (standard(), replace(standard(seed=4), material="STD-M")))
    groups = element_figures(page, close=CloseLook("std-m", 11, 20))
    assert [len(group.figures[0].rows["points"]) for group in groups] == [60, 10]


def test_two_laboratories_of_one_standard_keep_their_charts_apart():
    other = standard(seed=8)
    other = replace(other, points=replace(other.points, laboratory=("Demo laboratory B",) * 60))
    groups = element_figures(ElementPage("Au", (standard(), other)))
    names = [figure.name for group in groups for figure in group.figures]
    assert len(set(names)) == len(names)
    assert len({group.anchor for group in groups}) == 2
    assert ["Demo laboratory A" in groups[0].title, "Demo laboratory B" in groups[1].title] == [True, True]


def test_bands_hold_lowest_median_and_highest_and_skip_what_has_no_number():
    values = np.arange(2400.0)
    values[:10] = np.nan
    rows = bands(values, 0, 2400)
    assert len(rows) == STRETCHES - 1
    assert (rows[0]["low"], rows[0]["middle"], rows[0]["high"], rows[0]["results"]) == (10.0, 14.5, 19.0, 10)


def test_thinning_never_drops_anything_of_a_series_that_fits():
    values = np.zeros(DENSE)
    kept = thinned(values, odd=np.zeros(DENSE, dtype=bool), gravity=values)
    assert len(kept.points) == DENSE
    assert not kept.dense
    assert kept.note == ""


@pytest.mark.parametrize(("count", "most"), [(5, 10), (10, 10), (1000, 7), (3, 1)])
def test_even_places_keep_their_bounds(count, most):
    places = even_places(count, most)
    assert len(places) <= max(most, 1)
    assert (places >= 0).all()
    assert (places < count).all()
    assert (np.diff(places) > 0).all()


def test_the_line_of_sums_draws_both_sides_and_marks_where_it_goes_out():
    series = standard()
    figure = cusum_figure(series)
    lower = [row["value"] for row in figure.rows["lines"] if row["side"] == "lower"]
    assert lower == pytest.approx((-series.cusum_lower).tolist(), rel=1e-4, abs=1e-9)
    signal = np.asarray(series.cusum_signal)
    starts = np.flatnonzero(signal & ~np.concatenate(([False], signal[:-1])))
    assert [row["place"] for row in figure.rows["points"]] == (starts + 1).tolist()
    assert series.points.number[series.shift_began] in figure.says


def test_sums_that_stay_inside_say_so():
    quiet = replace(standard(), cusum_signal=np.zeros(60, dtype=bool))
    assert "No sum went beyond it" in cusum_figure(quiet).says


def test_the_weighted_average_is_drawn_between_its_limits_and_says_when_it_leaves_them():
    series = standard()
    figure = ewma_figure(series)
    line = [row["value"] for row in figure.rows["lines"]]
    assert line == pytest.approx(series.ewma.tolist(), rel=1e-4)
    high = [row["value"] for row in figure.rows["limitLines"] if row["side"] == "high"]
    assert high == pytest.approx(series.ewma_high.tolist(), rel=1e-4)
    assert f"{int(series.ewma_signal.sum())} stand beyond the limits" in figure.says


def test_blanks_are_drawn_against_their_limit_and_censored_ones_by_another_shape():
    series = blanks()
    figure = blank_figure(series, GOLD)
    by_standing = [row["standing"] for row in figure.rows["points"]]
    assert by_standing.count(look.OUTSIDE) == int(series.above.sum())
    assert by_standing.count(look.BELOW) == int((series.censored & ~series.above).sum())
    assert [row["value"] for row in figure.rows["limits"]] == [0.05, 0.05]
    high = next(row for row in figure.rows["points"] if row.get("beyond"))
    assert "behind T3020 with 90" in high["says"]


def test_a_limit_that_changes_with_the_method_is_a_step():
    limit = np.full(40, 0.05)
    limit[25:] = 0.02
    figure = blank_figure(replace(blanks(), limit_ppm=limit), GOLD)
    assert [(row["place"], row["value"]) for row in figure.rows["limits"]] == [(0.5, 0.05), (25.5, 0.02), (40.5, 0.02)]


def test_carry_over_draws_the_line_of_its_share_and_what_is_accepted():
    held = carried()
    figure = carry_over_figure(held, GOLD)
    last = figure.rows["fit"][-1]
    assert last["before"] == pytest.approx(90.0)
    assert last["line"] == pytest.approx(held.background_ppm + held.share.value * 90, rel=1e-3)
    assert last["accepted"] == pytest.approx(held.background_ppm + 0.9, rel=1e-3)
    assert figure.table.lines[0].cells[3] == "T3020"
    assert "0.6 % of it is found in the blank" in figure.says


def test_carry_over_without_a_share_is_points_alone():
    figure = carry_over_figure(replace(carried(), share=None), GOLD)
    assert figure.rows["fit"] == []
    assert len(figure.rows["points"]) == 40


def test_pairs_that_have_no_place_on_a_log_scale_are_counted_not_moved():
    held = pairs()
    first = held.first_ppm.copy()
    first[:3] = [0.0, -0.01, np.nan]
    figure = axis_figure(replace(held, first_ppm=first), GOLD)
    assert len(figure.rows["points"]) == 57
    assert "3 pairs hold a result of 0 or less" in figure.says
    assert "2 pairs below detection are left out" in figure.says
    assert figure.table.left_out == 3


def test_a_crowd_of_pairs_keeps_those_outside_and_says_how_many_are_not_drawn():
    held = pairs(6000)
    figure = ratio_figure(held, GOLD)
    assert len(figure.rows["points"]) == MOST_PAIRS
    drawn = {row["number"] for row in figure.rows["points"] if row["standing"] == look.OUTSIDE}
    assert drawn == {one for one, out in zip(held.points.number, held.outside, strict=True) if out}
    assert f"{6000 - MOST_PAIRS} pairs among the others are not drawn" in figure.says


def test_the_ratio_chart_says_what_its_pairs_could_not_see():
    says = ratio_figure(pairs(), GOLD).says
    assert "cannot conclude" in says
    assert "The smallest bias so many pairs show at 80 % is 8 %" in says
    assert "90 more would show 5 %" in says


def test_the_hard_curve_rises_to_all_pairs_and_names_nine_in_ten():
    held = pairs()
    figure = hard_figure(held)
    shares = [row["share"] for row in figure.rows["curve"]]
    assert shares == sorted(shares)
    assert shares[-1] == 100.0
    nine = figure.rows["nine"][0]["hard"]
    assert (100 * held.hard <= nine * (1 + 1e-9)).mean() == pytest.approx(0.9, abs=0.02)


def test_the_precision_chart_carries_its_cautions_and_draws_no_line_below_zero():
    held = pairs()
    figure = precision_figure(held, GOLD)
    assert figure.notes == held.precision_cautions
    assert len(figure.notes) > 2
    assert all(row["sd"] > 0 for row in figure.rows["line"])
    none = precision_figure(replace(held, precision_s0_ppm=None, precision_k=None), GOLD)
    assert none.rows["line"] == []
    assert "Too few pairs for a line" in none.says


def test_no_pairs_at_all_still_make_a_page():
    empty = replace(
        pairs(), first_ppm=np.zeros(60), second_ppm=np.zeros(60), hard=np.array([]), hard_share=np.array([]),
        slope=None, band_at_ppm=np.array([]), band_line_ppm=np.array([]), band_low_ppm=np.array([]),
        band_high_ppm=np.array([]), precision_at_ppm=np.array([]), precision_sd_ppm=np.array([]), mean_ratio=None,
        ratio_low=None, ratio_high=None, agreement_low=None, agreement_high=None, cv=None,
    )  # fmt: skip
    for figure in pair_figures(empty, GOLD):
        json.dumps(figure.description(), allow_nan=False)


@pytest.mark.parametrize("figure", all_figures(), ids=lambda figure: figure.name)
def test_a_description_holds_its_rows_its_sentence_and_nothing_to_fetch(figure):
    told = figure.description(width_px=500)
    text = json.dumps(told, allow_nan=False)
    assert told["width"] == 500
    assert told["description"] == figure.says
    assert told["datasets"].keys() == figure.rows.keys()
    assert "url" not in text
    assert figure.description()["width"] == "container"
    named = {layer["data"]["name"] for layer in told["layer"]}
    assert named == set(figure.rows)


@pytest.mark.parametrize("figure", all_figures(), ids=lambda figure: figure.name)
def test_every_setting_of_a_figure_is_known_to_its_drawing(figure):
    known = {one["name"] for one in figure.template["params"]}
    assert set(figure.settings) <= known
    values = {one["name"]: one.get("value") for one in figure.description()["params"]}
    assert {name: values[name] for name in figure.settings} == dict(figure.settings)


def test_a_template_is_shared_and_never_changed_by_a_figure():
    first = control_figure(standard(), GOLD)
    before = json.dumps(first.template, sort_keys=True)
    control_figure(standard(seed=9), GOLD).description()
    assert json.dumps(first.template, sort_keys=True) == before


@pytest.mark.parametrize("figure", all_figures(), ids=lambda figure: figure.name)
def test_every_figure_has_a_table_of_as_many_cells_as_columns(figure):
    assert all(len(line.cells) == len(figure.table.columns) for line in figure.table.lines)
    assert figure.says.endswith(".")


def test_the_unit_of_a_page_follows_its_standards():
    assert unit_of(element_page()).label == "g/t"
    copper = replace(standard(), certified_ppm=12_000.0)
    assert unit_of(ElementPage("Cu", (copper,))).label == "%"


def test_names_of_figures_may_stand_in_an_address():
    assert slug("half/half", "Zn %") == "half-half-zn"
    assert all(figure.name == slug(figure.name) for figure in all_figures())


@pytest.mark.parametrize(
    ("value", "text"), [(None, "–"), (float("nan"), "–"), (0.12345, "0.1235"), (12345.6, "12 350"), (1e-6, "1e-06")]
)
def test_numbers_of_a_table_are_short(value, text):
    assert written(value) == text
