"""The statistics of a series beside its chart: standards, blanks, carry-over, pairs, where the scatter comes from."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from trayside.app.blank_series import blank_series, carry_over_sets
from trayside.app.content_words import content
from trayside.app.judge_results import judge_results
from trayside.app.pair_sets import pair_set, pair_sets
from trayside.app.reassay_request import reassay_request
from trayside.app.standard_series import run_length, standard_series
from trayside.app.variance_shares import share_words, variance_shares
from trayside.app.verdict_words import batch_verdict, rule_set
from trayside.core.control_rules import SHEWHART
from trayside.model.rules import ResultSettings
from trayside.model.verdict import BatchSummary

sys.path.insert(0, str(Path(__file__).parent))
from judge_cases import STANDARDS, Campaign, certified

SETTINGS = ResultSettings()


def judged(campaign: Campaign, settings=SETTINGS):
    results, numbers = campaign.frames()
    return judge_results(results, numbers, certified(), settings=settings)


def one_series(made, material="S-MID", element="Au"):
    return made.standards.filter((pl.col("material") == material) & (pl.col("element") == element))


def test_a_standard_series_carries_its_bias_with_the_power_beside_it():
    def change(batch, place, number, role, contents):
        return contents | {"Au": contents["Au"] * 1.04} if role == "standard" else contents

    made = standard_series(one_series(judged(Campaign(batches=12, change=change))), settings=SETTINGS)
    assert made.bias.relative == pytest.approx(0.04, abs=0.012)
    assert made.bias.shown
    assert not made.bias.matters
    mean, sd = STANDARDS["S-MID"]["Au"]
    np.testing.assert_allclose(made.z, (made.value_ppm - mean) / sd)
    assert made.cusum_signal.any()
    assert "would show 5%" in made.bias.sentence


def test_the_run_length_of_plain_limits_is_the_published_one():
    # ARL of 3 sigma limits: 370.4 at no shift, 43.89 at one sd (Champ & Woodall 1987, Technometrics 29:393, Table 1, seen)
    found = run_length(SHEWHART, name="Shewhart")
    assert found.results[0] == pytest.approx(370.40, abs=0.005)
    assert found.results[found.shifts.index(1.0)] == pytest.approx(43.89, abs=0.005)
    assert not found.simulated


def test_carry_over_is_a_share_with_an_interval_and_never_claimed_without_rich_samples():
    def change(batch, place, number, role, contents):
        if place == 7:
            return contents | {"Au": 5.0 + 10.0 * batch}
        return contents | {"Au": 0.002 + 0.02 * (5.0 + 10.0 * batch)} if place == 8 else contents

    made = judged(Campaign(batches=8, change=change))
    blanks = made.blanks.filter(pl.col("element") == "Au")
    laboratory = next(one for one in carry_over_sets(blanks, settings=SETTINGS) if one.order == "laboratory")
    assert laboratory.share.low < 0.02 < laboratory.share.high
    assert laboratory.verdict == "carry-over"
    assert "too few" in laboratory.split_why
    series = blank_series(blanks, settings=SETTINGS)
    assert series.failures == 8
    assert series.failure_low < 8 / 24 < series.failure_high
    clean = judged(Campaign(batches=8)).blanks.filter(pl.col("element") == "Cu")
    assert all(one.verdict != "carry-over" for one in carry_over_sets(clean, settings=SETTINGS))


def test_saw_and_laboratory_are_parted_where_the_orders_differ():
    results, numbers = Campaign(batches=8).frames()
    samples = numbers.filter(pl.col("role") == "sample")["number"].to_list()
    chance = np.random.default_rng(5)
    blanks = numbers.filter(pl.col("role") == "blank")["number"].to_list()
    sawn = dict(zip(blanks, chance.choice(samples, len(blanks), replace=False).tolist(), strict=True))
    grade = dict(results.filter(pl.col("element") == "Cu").select("number", "value_ppm").iter_rows())
    carried = {number: 5.0 + 0.05 * grade[before] for number, before in sawn.items()}
    results = results.with_columns(
        value_ppm=pl.when((pl.col("element") == "Cu") & pl.col("number").is_in(blanks))
        .then(pl.col("number").replace_strict(carried, default=None, return_dtype=pl.Float64)).otherwise(pl.col("value_ppm")),
        censor=pl.when(pl.col("number").is_in(blanks)).then(pl.lit("none")).otherwise(pl.col("censor")),
    )  # fmt: skip
    numbers = numbers.with_columns(
        sawn_before=pl.col("number").replace_strict(sawn, default=None, return_dtype=pl.String)
    )
    made = judge_results(results, numbers, certified(), settings=SETTINGS)
    (one, *_) = carry_over_sets(made.blanks.filter(pl.col("element") == "Cu"), settings=SETTINGS)
    assert one.split_saw.value == pytest.approx(0.05, abs=0.002)
    assert one.split_laboratory.low < 0 < one.split_laboratory.high


def pairs_of_kind(made, kind: str, sd: float, count: int, seed: int):
    """Invented pairs of one kind whose logarithms scatter by sd, in the columns of the judge."""
    chance = np.random.default_rng(seed)
    frame = made.pairs.filter(pl.col("element") == "Cu").sample(count, with_replacement=True, seed=seed)
    middle = frame["first_ppm"].to_numpy()
    return frame.with_columns(
        kind=pl.lit(kind),
        first_ppm=pl.Series(middle * np.exp(sd * chance.standard_normal(count))),
        second_ppm=pl.Series(middle * np.exp(sd * chance.standard_normal(count))),
    )


def test_what_dominates_and_what_another_share_of_the_core_would_change():
    made = judged(Campaign(batches=4))
    kinds = {"half/half": 0.20, "coarse": 0.06, "pulp": 0.03}
    sets = [
        pair_set(pairs_of_kind(made, kind, sd, 300, 10 + at), settings=SETTINGS)
        for at, (kind, sd) in enumerate(kinds.items())
    ]
    (shares,) = variance_shares(sets)
    sampling, preparation, analysis = shares.components
    # variances of the differences: 0.20^2 - 0.06^2 = 0.0364, 0.06^2 - 0.03^2 = 0.0027, 0.03^2 = 0.0009 (derived)
    assert sampling.low < 0.0364 < sampling.high
    assert preparation.low < 0.0027 < preparation.high
    assert analysis.low < 0.0009 < analysis.high
    assert sampling.robust == pytest.approx(sampling.variance, rel=0.25)
    ratios = dict(shares.other_core)
    assert ratios["half"] == pytest.approx(1.0)
    assert ratios["quarter"] > 1.3
    assert ratios["whole"] < 0.8
    assert "ampling" in share_words(shares)[0]


def test_a_component_below_zero_is_reported_below_zero():
    made = judged(Campaign(batches=4))
    kinds = {"half/half": 0.10, "coarse": 0.03, "pulp": 0.06}
    sets = [pair_set(pairs_of_kind(made, kind, sd, 60, at), settings=SETTINGS) for at, (kind, sd) in enumerate(kinds.items())]
    (shares,) = variance_shares(sets)
    assert shares.components[1].variance < 0
    assert any("below zero" in caution for caution in shares.cautions)


def test_without_pulp_pairs_nothing_is_said_of_where_the_scatter_comes_from():
    assert variance_shares(pair_sets(judged(Campaign(batches=6)).pairs, settings=SETTINGS)) == ()


def test_few_pairs_are_shown_and_not_judged():
    (one,) = (made for made in pair_sets(judged(Campaign(batches=2)).pairs, settings=SETTINGS) if made.element == "Au")
    assert len(one.points) == 6
    assert one.bias_verdict == "too few pairs"


def test_a_request_joins_elements_and_counts_what_it_costs():
    def change(batch, place, number, role, contents):
        if (batch, place) != (1, 15):
            return contents
        return contents | {"Au": contents["Au"] * 1.4, "Cu": contents["Cu"] * 1.5}

    settings = ResultSettings(price_per_result=20.0, price_per_kg=2.0, price_per_order=50.0, currency="DEM")
    made = judged(Campaign(batches=3, change=change), settings)
    rules = rule_set(settings, made.certified)
    verdicts = tuple(batch_verdict(made, "cert-A-001", element, rules=rules) for element in ("Au", "Cu"))
    batch = BatchSummary("cert-A-001", "Demo laboratory A", "J", "2031-03-02", verdicts)
    lines = made.results.filter(pl.col("certificate_id") == "cert-A-001").unique("number")
    request = reassay_request(
        batch, places=dict(lines.select("number", "place").iter_rows()),
        kg=dict(made.numbers.select("number", "kg").iter_rows()), settings=settings,
    )  # fmt: skip
    assert request.elements == ("Au", "Cu")
    assert (request.samples, request.controls) == (16, 3)
    assert all(line.elements == ("Au", "Cu") for line in request.lines)
    # 19 lines x 2 elements x 20 + 16 x 2.4 kg x 2 + 50
    assert request.cost == pytest.approx(19 * 2 * 20 + 16 * 2.4 * 2 + 50)
    assert [line.place for line in request.lines] == sorted(line.place for line in request.lines)
    fine = BatchSummary("x", "l", "j", "d", (batch_verdict(made, "cert-A-000", "Au", rules=rules),))
    assert reassay_request(fine, places={}, kg={}, settings=settings) is None


def test_contents_are_written_as_people_read_them():
    assert content(1.52, "Au") == "1.52 g/t"
    assert content(0.005, "Au") == "0.0050 g/t"
    assert content(23_100.0, "Cu") == "2.31 %"
    assert content(340.0, "Cu") == "340 ppm"
    assert content(None, "Cu") == "–"
