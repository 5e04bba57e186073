"""Mix-ups in one certificate: exchanged neighbours, slipped numbers, turned racks, exchanged controls, with odds.

All that is known is weighed together: grade class, partner of a duplicate, certificates of the controls, received mass.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from trayside.app.judge_results import Judged
from trayside.core.mixups import (
    EXCHANGE,
    EXCHANGED_CONTROLS,
    SLIP,
    TURNED_RACK,
    Expectations,
    MixUp,
    MixUpSettings,
    Reports,
    log_expectation,
    search_mix_ups,
)
from trayside.model.verdict import MixUpStory

PAIR_LOG_SD = 0.35
"""Scatter of a duplicate about its partner, wide enough for field duplicates of coarse gold."""
BLANK_LOG_SD = 1.0
MASS_SD = 0.03
MOST_ODDS = 1e12
FEWEST_LINES = 4


def mix_ups(
    judged: Judged, certificate_id: str, *, received_kg: Mapping[str, float] | None = None
) -> tuple[tuple[MixUpStory, ...], float]:
    """Stories the results of one certificate speak for, and the share of neighbour exchanges that would show at all.

    What is told as exchanged standards already is left out.
    """
    lines = _lines(judged, certificate_id)
    if lines.height < FEWEST_LINES:
        return (), 0.0
    elements = sorted(judged.results.filter(pl.col("certificate_id") == certificate_id)["element"].unique().to_list())
    value, censored = _values(judged, certificate_id, lines, elements)
    log_mean, log_sd = _expected(judged, lines, elements, value)
    kg, expected_kg, mass_sd = _masses(lines, received_kg or {})
    found = search_mix_ups(
        reports=Reports(value=value, censored=censored, mass_kg=kg),
        expected=Expectations(log_mean=log_mean, log_sd=log_sd, mass_kg=expected_kg, mass_relative_sd=mass_sd),
        control=[material if role in ("standard", "blank") else None
                 for role, material in lines.select("role", "material").iter_rows()],
        rack=lines["rack"].to_list() if lines["rack"].n_unique() > 1 else None,
        settings=MixUpSettings(odds_to_speak=judged.settings.mix_up_odds),
    )  # fmt: skip
    told = {one.number for one in judged.mislabelled if one.certificate_id == certificate_id}
    numbers = lines["number"].to_list()
    stories = tuple(_story(one, numbers) for one in found.found)
    return tuple(one for one in stories if not told.issuperset(one.numbers)), found.share_visible


def _lines(judged: Judged, certificate_id: str) -> pl.DataFrame:
    """Lines of the certificate whose number stands on a sheet, in ticket order."""
    own = judged.results.filter((pl.col("certificate_id") == certificate_id) & (pl.col("line_kind") == "sample"))
    lines = own.unique("number", keep="first", maintain_order=True).select("number", "rack", "place")
    return lines.join(judged.numbers, on="number", how="inner").sort("hole_id", "seq")


def _values(judged: Judged, certificate_id: str, lines: pl.DataFrame, elements: list[str]):
    own = judged.results.filter(
        (pl.col("certificate_id") == certificate_id)
        & (pl.col("line_kind") == "sample")
        & pl.col("censor").is_in(["none", "lt"])
        & (pl.col("value_ppm") > 0)
    )
    row = {number: at for at, number in enumerate(lines["number"].to_list())}
    column = {element: at for at, element in enumerate(elements)}
    value = np.full((len(row), len(column)), np.nan)
    censored = np.zeros(value.shape, dtype=bool)
    for number, element, content, censor in own.select("number", "element", "value_ppm", "censor").iter_rows():
        if number in row:
            value[row[number], column[element]] = content
            censored[row[number], column[element]] = censor == "lt"
    return value, censored


def _expected(judged: Judged, lines: pl.DataFrame, elements: list[str], value: np.ndarray):
    settings = judged.settings
    cards = {(row["material"], row["element"]): row for row in judged.certified.iter_rows(named=True)}
    numbers = {number: at for at, number in enumerate(lines["number"].to_list())}
    log_mean, log_sd = np.full(value.shape, np.nan), np.full(value.shape, np.nan)
    for at, line in enumerate(lines.iter_rows(named=True)):
        for column, element in enumerate(elements):
            if line["role"] in ("standard", "blank"):
                mean, sd = _of_control(cards.get((line["material"], element)))
            elif line["role"] == "duplicate" and line["pair_of"] in numbers:
                partner = value[numbers[line["pair_of"]], column]
                mean, sd = np.log(partner), PAIR_LOG_SD
            elif element == settings.steering_element and line["expected_ppm"]:
                mean, sd = np.log(line["expected_ppm"]), settings.class_log_sd
            else:
                continue
            log_mean[at, column], log_sd[at, column] = mean, sd
    return log_mean, np.where(np.isnan(log_mean), np.nan, log_sd)


def _of_control(card: dict | None) -> tuple[float, float]:
    if card is None:
        return np.nan, np.nan
    if card["certified_ppm"] and card["sd_ppm"]:
        mean, sd = log_expectation(mean=card["certified_ppm"], sd=card["sd_ppm"])
        return float(mean), float(sd)
    if card["upper_ppm"]:
        return float(np.log(card["upper_ppm"] / 3)), BLANK_LOG_SD
    return np.nan, np.nan


def _masses(lines: pl.DataFrame, received_kg: Mapping[str, float]):
    """Received and expected masses; a loss of water that all share is taken off."""
    received = np.array([received_kg.get(number) or np.nan for number in lines["number"].to_list()])
    if np.isnan(received).all():
        return None, None, MASS_SD
    sent = lines["kg"].fill_null(float("nan")).to_numpy()
    both = ~np.isnan(received) & ~np.isnan(sent)
    if both.any():
        sent = sent * float(np.median(received[both] / sent[both]))
    sd = np.where(lines["weighed"].fill_null(False).to_numpy(), MASS_SD, lines["expected_rel_sd"].fill_null(0.1).to_numpy())
    return received, sent, np.maximum(sd, MASS_SD)


def _story(one: MixUp, numbers: list[str]) -> MixUpStory:
    own = tuple(numbers[at] for at in one.numbers)
    odds = "more than a million to 1" if one.odds > 1e6 else f"{one.odds:.0f} to 1"
    if one.kind in (EXCHANGE, EXCHANGED_CONTROLS):
        what = f"{own[0]} and {own[1]} read as if they were exchanged"
    elif one.kind == SLIP:
        neighbour = "after" if one.lag > 0 else "before"
        what = f"{own[0]} to {own[-1]} read as if each held the sample of the number {neighbour} it"
    elif one.kind == TURNED_RACK:
        what = f"the rack {own[0]} to {own[-1]} reads as if it was turned end for end"
    else:
        what = f"{own[0]} to {own[-1]}: {one.kind}"
    again = tuple(numbers[at] for at in one.settlement.places)
    settle = (
        f"Assay {', '.join(again)} again from the core kept: that would settle it."
        if again and one.settlement.settles
        else f"{one.settlement.says[:1].upper()}{one.settlement.says[1:]}."
    )
    return MixUpStory(
        kind=one.kind,
        numbers=own,
        sentence=f"{what}, odds {odds}.",
        odds=min(one.odds, MOST_ODDS),
        assay_again=again,
        settles=bool(one.settlement.settles),
        settlement=settle,
        evidence={
            "by_mass": round(one.gain_by_mass, 2),
            "by_controls": round(one.gain_by_controls, 2),
            "by_samples": round(one.gain_by_samples, 2),
        },
    )
