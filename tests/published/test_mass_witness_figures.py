"""Mass as witness, against figures printed or worked out elsewhere; each with its source and grade."""

from math import exp, log

import numpy as np
import pytest
from scipy import integrate

from trayside.core.bag_mass import predict_bag_mass
from trayside.core.cut_geometry import cut_pieces
from trayside.core.half_ratio_chart import alignment_run_length, half_ratio_chart
from trayside.core.identity_search import SearchSettings, limit_test_power, search_identity, swap_power
from trayside.core.mass_residuals import bag_causes, mass_residuals
from trayside.core.received_masses import compare_received

SHORTEST_M, LONGEST_M = 0.3, 1.5


def mean_over_lengths(chance_of_ratio):
    """Mean over two lengths, each as likely anywhere between shortest and longest; by their ratio r, whose density is
    (longest^2 / r^2 - shortest^2) / (longest - shortest)^2 for r >= 1, both orders together."""
    a, b = SHORTEST_M, LONGEST_M

    def inside(r):
        return chance_of_ratio(log(r)) * (b * b / (r * r) - a * a) / (b - a) ** 2

    return integrate.quad(inside, 1.0, b / a, points=[1.05, 1.2, 1.5], limit=200, epsabs=1e-6)[0]


@pytest.mark.parametrize(
    ("scatter", "percent"),
    # derived, by simulation, printed to whole percent: neighbours with lengths even between 0.3 and 1.5 m, bag masses
    # scattered by so much, and either bag more than 3 standard deviations from its label's mass. Tolerance: half the
    # last place.
    [(0.03, 90), (0.06, 80), (0.10, 68)],
)
def test_share_of_neighbour_swaps_a_three_sigma_test_catches(scatter, percent):
    share = mean_over_lengths(lambda ratio: limit_test_power(log_ratio=ratio, relative_sd=scatter))
    assert 100 * share == pytest.approx(percent, abs=0.5)


def test_the_density_of_the_ratio_of_two_lengths_is_whole():
    assert mean_over_lengths(lambda ratio: 1.0) == pytest.approx(1.0)


def test_false_alarms_of_a_three_sigma_test():
    # derived: two bags at 0.27 % each, printed as about 0.5 % a pair.
    assert 100 * limit_test_power(log_ratio=0.0, relative_sd=0.06) == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("scatter", [0.03, 0.06, 0.10])
def test_equal_lengths_show_nothing(scatter):
    # derived: of swaps at equal length and rock mass sees none.
    power = swap_power(predicted_kg=np.full(50, 2.24), relative_sd=scatter)
    assert power.share_seen == 0.0
    assert power.says.startswith("cannot be seen by mass")


@pytest.mark.parametrize(("scatter", "percent"), [(0.03, 90), (0.06, 80), (0.10, 68)])
def test_a_likelihood_ratio_of_a_hundred_sees_at_least_what_the_three_sigma_test_sees(scatter, percent):
    # derived: D = 2 ln(likelihood ratio) above 9.21, about 100 to 1. Two tests of one thing; the likelihood ratio uses
    # both bags at once and is never weaker at about these false alarms.
    assert exp(9.21 / 2) == pytest.approx(100.0, abs=0.5)
    even = SearchSettings(swap_chance=0.5, slip_chance=1e-6, odd_share=0.0, odds_to_speak=exp(9.21 / 2))

    def chance_of_ratio(ratio):
        return swap_power(predicted_kg=[1.0, exp(ratio)], relative_sd=scatter, settings=even).share_seen

    share = 100 * mean_over_lengths(chance_of_ratio)
    assert percent - 0.5 <= share <= percent + 3.0


@pytest.mark.parametrize(
    ("diameter_mm", "ratio", "offset_mm"),
    # derived: offset from the ratio of the two halves at 2.2 mm kerf, exact by root finding
    [
        (47.6, 0.9, 0.92721), (63.5, 0.9, 1.25569), (85.0, 0.9, 1.69999),
        (47.6, 0.8, 1.95950), (63.5, 0.8, 2.65363), (85.0, 0.8, 3.59254),
    ],
)  # fmt: skip
def test_offset_of_a_pair_on_the_alignment_chart(diameter_mm, ratio, offset_mm):
    chart = half_ratio_chart(
        near_kg=[2.0 * ratio], far_kg=[2.0], core_diameter_mm=diameter_mm, kerf_mm=2.2, target_offset_mm=0.0
    )
    assert chart.offset_mm[0] == pytest.approx(offset_mm, abs=5e-6)


@pytest.mark.parametrize(
    ("shift_sd", "pairs", "half_place"),
    # Montgomery, Introduction to Statistical Quality Control, Table 9.3 (from memory): tabular CUSUM k 0.5, h 5.
    # The row at 3 standard deviations prints 2.57.
    [(0.0, 465, 0.5), (0.5, 38.0, 0.05), (1.0, 10.4, 0.05), (2.0, 4.01, 0.005), (3.0, 2.57, 0.005)],
)
def test_run_length_of_the_alignment_chart(shift_sd, pairs, half_place):
    core = {"core_diameter_mm": 63.5, "kerf_mm": 2.5}
    shift_mm = 0.8
    logs = []
    for offset in (3.0, 3.0 + shift_mm):
        cut = cut_pieces(**core, offset_mm=offset)
        logs.append(log(cut.near_mm2 / cut.far_mm2))
    # A standard deviation of the ratio that makes the shift the wanted number of them.
    sd = abs(logs[1] - logs[0]) / shift_sd if shift_sd else 0.05
    wait = alignment_run_length(
        **core, target_offset_mm=3.0, shift_mm=shift_mm if shift_sd else 0.0, ratio_sd=sd, allowance=0.5, decision=5.0
    )
    assert wait.pairs_to_signal == pytest.approx(pairs, abs=half_place)


def test_the_wrong_core_size_shows_as_42_percent_light():
    # derived: half core of 36.5 mm predicted as 47.6 mm, at 2.7 t/m3 and 2.5 mm kerf: 1.29 instead of 2.24 kg/m.
    cut = {"recovered_length_m": 1.0, "density_t_m3": 2.7, "kerf_mm": 2.5, "offset_mm": 0.0}
    small, large = (predict_bag_mass(core_diameter_mm=d, **cut).expected_kg for d in (36.5, 47.6))
    assert (small, large) == (pytest.approx(1.29, abs=0.005), pytest.approx(2.24, abs=0.005))
    predicted = large * np.linspace(0.5, 1.5, 40)
    residuals = mass_residuals(
        measured_kg=predicted * small / large, predicted_kg=predicted, predicted_sd_kg=0.05 * predicted
    )
    assert 100 * (residuals.ratio[0] - 1) == pytest.approx(-42, abs=0.5)
    # No single bag is odd among its group; the group as a whole is.
    assert set(residuals.verdict) == {"inside range"}
    assert residuals.group_ratio[0] == pytest.approx(small / large, rel=0.01)


@pytest.mark.parametrize(
    ("diameter_mm", "near_percent", "far_percent"),
    # derived: 3 mm off centre with 2.5 mm kerf is 41/59 on 47.6 mm core and 44/56 on 63.5 mm core
    [(47.6, 41, 59), (63.5, 44, 56)],
)
def test_the_wrong_half_off_centre_is_named(diameter_mm, near_percent, far_percent):
    cut = {"recovered_length_m": 1.0, "density_t_m3": 2.7, "core_diameter_mm": diameter_mm, "kerf_mm": 2.5}
    near, far = (predict_bag_mass(portion=p, offset_mm=3.0, **cut).expected_kg for p in ("near_half", "far_half"))
    assert 100 * near / (near + far) == pytest.approx(near_percent, abs=0.5)
    assert 100 * far / (near + far) == pytest.approx(far_percent, abs=0.5)
    causes = bag_causes(
        measured_kg=far, as_planned_kg=near, relative_sd=0.03, recovered_length_m=1.0, portion_kg={"far_half": far}
    )
    assert causes.ranked(0)[0].cause == "far_half"


def test_a_load_six_percent_low_is_moisture_and_a_bag_twenty_percent_low_is_loss():
    # Invented figures of a received load: all 6 % low after drying, one bag 20 % low.
    yard = np.linspace(6.0, 12.0, 30)
    laboratory = 0.94 * yard
    laboratory[9] = 0.80 * yard[9]
    received = compare_received(yard_kg=yard, laboratory_kg=laboratory)
    assert received.lost == (9,)
    assert received.groups[0].drying == pytest.approx(0.06, abs=1e-6)


def test_a_slip_of_fourteen_samples_after_a_forgotten_blank_is_found():
    # Invented: 14 bags hold the core of the next interval; lengths even between 0.3 and 1.5 m, scatter 6 %.
    chance = np.random.default_rng(14)
    predicted = 4.06 * chance.uniform(SHORTEST_M, LONGEST_M, 50)
    content = np.arange(50)
    content[20:34] += 1
    measured = predicted[content] * np.exp(0.06 * chance.standard_normal(50))
    (slip,) = search_identity(measured_kg=measured, predicted_kg=predicted, relative_sd=0.06).found
    assert (slip.kind, slip.lag) == ("slip", 1)
    assert slip.first_earliest <= 20 <= slip.first_latest
    assert slip.last_earliest <= 33 <= slip.last_latest
