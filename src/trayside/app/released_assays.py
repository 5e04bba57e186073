"""Released assays of a hole: the best value of every sample and element, composites, intercepts, recovery against grade.

Released is what stands in a batch whose verdict that counts says "use" or "use with note". Anything else is listed with
why it is held back, and is a gap in composites: never a zero.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from trayside.app.bag_masses import rock_densities
from trayside.app.judge_batch import YardJudgement, judge_yard
from trayside.app.ports import Work
from trayside.core.composite import (
    Composites,
    GapRule,
    Intercept,
    RecoveryGrade,
    composites,
    even_stretches,
    intercepts,
    recovery_grade,
)
from trayside.errors import ImpossibleValue
from trayside.model.rules import ResultSettings
from trayside.model.verdict import Word

RELEASED: tuple[Word, ...] = ("use", "use with note")


@dataclass(frozen=True, slots=True)
class ReleasedResult:
    """The best value of one sample. `value_ppm` is None where nothing is released; `why_not` then says why.

    A result below a limit has `censor` "lt" and no value: `raw_text` is what the laboratory wrote.
    """

    number: str
    from_mm: int
    to_mm: int
    recovered_mm: int | None
    rock: str | None
    raw_text: str
    value_ppm: float | None
    censor: str
    certificate_id: str
    method: str
    verdict: Word | None
    why_not: str
    others: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ReleasedAssays:
    """One element of one hole. In averages a result below a limit counts as nothing found (0): `below_limit` says how many
    there are, and the results keep what was written."""

    hole_id: str
    element: str
    results: tuple[ReleasedResult, ...]
    density_t_m3: dict[str, float]
    composites: Composites | None
    intercepts: tuple[Intercept, ...]
    recovery: RecoveryGrade | None
    below_limit: int
    held_back: int
    notes: tuple[str, ...]
    settings: ResultSettings


def released_assays(work: Work, hole_id: str, element: str) -> ReleasedAssays:
    """What may be used of one element in one hole."""
    judgement = judge_yard(work)
    core = work.hole_core(hole_id)
    densities = {rock: one.density_t_m3 for rock, one in rock_densities(core, work.stock()).items()}
    return released_of(judgement, hole_id, element, density_t_m3=densities)


def released_elements(judgement: YardJudgement, hole_id: str) -> tuple[str, ...]:
    """Elements with results in a hole."""
    numbers = judgement.judged.numbers.filter(pl.col("hole_id") == hole_id)["number"].implode()
    held = judgement.judged.results.filter(pl.col("number").is_in(numbers))
    return tuple(sorted(held["element"].unique().to_list()))


def released_of(
    judgement: YardJudgement, hole_id: str, element: str, *, density_t_m3: Mapping[str, float]
) -> ReleasedAssays:
    settings = judgement.judged.settings
    rows = best_results(judgement, hole_id, element)
    # A result below a limit is at most that limit: in averages it counts as none, which the notes say.
    grade = np.array([0.0 if row.censor == "lt" else np.nan if row.value_ppm is None else row.value_ppm for row in rows])
    from_m, to_m = (np.array([getattr(row, name) / 1000 for row in rows]) for name in ("from_mm", "to_mm"))
    density = np.array([density_t_m3.get(row.rock or "", np.nan) for row in rows])
    known = None if np.isnan(density).all() else density
    gaps = GapRule(
        settings.gaps,
        grade=settings.gap_grade_ppm if settings.gaps == "as grade" else None,
        least_covered=settings.gap_least_covered if settings.gaps == "leave out" else 0.0,
    )
    made, cut, notes = None, (), []
    if len(rows):
        tops, bottoms = even_stretches(
            from_m=float(from_m.min()), to_m=float(to_m.max()), length_m=settings.composite_m, short_end=settings.composite_end
        )
        made = composites(
            from_m=from_m, to_m=to_m, grade=grade, stretch_from_m=tops, stretch_to_m=bottoms, density_t_m3=known, gaps=gaps
        )
        cut = intercepts(
            from_m=from_m, to_m=to_m, grade=grade, cutoff=settings.cutoff_ppm, density_t_m3=known,
            longest_waste_m=settings.longest_waste_m, least_length_m=settings.least_intercept_m, gaps=gaps,
        )  # fmt: skip
    below = sum(row.censor == "lt" for row in rows)
    held_back = sum(bool(row.why_not) for row in rows)
    if below:
        notes.append(f"{below} results below a limit count as nothing found (0) in averages; the results keep what was written.")
    if held_back:
        notes.append(f"{held_back} samples have no released result: they are gaps, handled as {settings.gaps!r}.")
    return ReleasedAssays(
        hole_id, element, rows, dict(density_t_m3), made, cut, _recovery(rows, grade), below, held_back, tuple(notes), settings
    )


def best_results(judgement: YardJudgement, hole_id: str, element: str) -> tuple[ReleasedResult, ...]:
    """Every sample of the hole with its best result: released before held back, a number before a limit, then the newest."""
    judged = judgement.judged
    on_hole = judged.numbers.filter((pl.col("hole_id") == hole_id) & (pl.col("role") == "sample")).sort("from_mm")
    held = judged.results.filter((pl.col("element") == element) & (pl.col("line_kind") == "sample")).join(
        on_hole.select("number"), on="number", how="semi"
    )
    by_number: dict[str, list[dict]] = {}
    for row in held.iter_rows(named=True):
        by_number.setdefault(row["number"], []).append(row)
    told = {one: judgement.verdict(one, element).stands for one in held["certificate_id"].unique().to_list()}
    return tuple(
        _best(sample, by_number.get(sample["number"], []), told) for sample in on_hole.iter_rows(named=True)
    )


def _best(sample: dict, rows: list[dict], told: Mapping[str, Word]) -> ReleasedResult:
    def rank(row: dict) -> tuple:
        usable = told[row["certificate_id"]] in RELEASED
        return usable, row["censor"] == "none", row["censor"] in ("lt", "gt"), row["reported_at"], row["certificate_id"]

    base = {name: sample[name] for name in ("number", "from_mm", "to_mm", "recovered_mm", "rock")}
    if not rows:
        return ReleasedResult(**base, raw_text="", value_ppm=None, censor="", certificate_id="", method="", verdict=None,
                              why_not="no result came back", others=())  # fmt: skip
    ranked = sorted(rows, key=rank, reverse=True)
    best = ranked[0]
    verdict = told[best["certificate_id"]]
    why = "" if verdict in RELEASED else f"the batch says {verdict}"
    if not why and best["censor"] not in ("none", "lt"):
        why = f"reported as {best['raw_text']}: no number to average"
    return ReleasedResult(
        **base,
        raw_text=best["raw_text"],
        value_ppm=best["value_ppm"] if not why and best["censor"] == "none" else None,
        censor=best["censor"] if not why else "",
        certificate_id=best["certificate_id"],
        method=best["method"] or "",
        verdict=verdict,
        why_not=why,
        others=tuple(f"{row['raw_text']} ({row['certificate_id']})" for row in ranked[1:]),
    )


def _recovery(rows: tuple[ReleasedResult, ...], grade: np.ndarray) -> RecoveryGrade | None:
    """Grade against recovery over the samples that have both; None when they are too few."""
    recovery = np.array(
        [np.nan if row.recovered_mm is None else row.recovered_mm / (row.to_mm - row.from_mm) for row in rows]
    )
    both = ~np.isnan(recovery) & ~np.isnan(grade)
    lengths = np.array([(row.to_mm - row.from_mm) / 1000 for row in rows])
    try:
        return recovery_grade(recovery=recovery[both], grade=grade[both], length_m=lengths[both])
    except ImpossibleValue:
        return None


RESULT_HEAD = ("hole_id", "number", "from_m", "to_m", "element", "value_ppm", "censor", "as_written", "certificate",
               "method", "verdict", "held_back_because", "other_results")  # fmt: skip
COMPOSITE_HEAD = ("hole_id", "element", "from_m", "to_m", "grade_ppm", "grade_by_mass_ppm", "density_t_m3", "sampled_m",
                  "gap_m", "why_none")  # fmt: skip
INTERCEPT_HEAD = ("hole_id", "element", "from_m", "to_m", "length_m", "grade_ppm", "grade_by_mass_ppm", "top_sample",
                  "top_length_share", "top_metal_share", "grade_without_top_ppm", "below_cutoff_m", "gap_m")  # fmt: skip


def results_csv(made: ReleasedAssays) -> str:
    rows = [
        (made.hole_id, row.number, f"{row.from_mm / 1000:.3f}", f"{row.to_mm / 1000:.3f}", made.element,
         _number(row.value_ppm), row.censor, row.raw_text, row.certificate_id, row.method, row.verdict or "", row.why_not,
         "; ".join(row.others))
        for row in made.results
    ]  # fmt: skip
    return _csv(RESULT_HEAD, rows)


def composites_csv(made: ReleasedAssays) -> str:
    part = made.composites
    if part is None:
        return _csv(COMPOSITE_HEAD, [])
    rows = [
        (made.hole_id, made.element, f"{part.from_m[at]:.3f}", f"{part.to_m[at]:.3f}", _number(part.grade[at]),
         _number(part.grade_by_mass[at]), _number(part.density_t_m3[at]), f"{part.sampled_m[at]:.3f}",
         f"{part.gap_m[at]:.3f}", part.why[at])
        for at in range(len(part.from_m))
    ]  # fmt: skip
    return _csv(COMPOSITE_HEAD, rows)


def intercepts_csv(made: ReleasedAssays) -> str:
    rows = [
        (made.hole_id, made.element, f"{one.from_m:.3f}", f"{one.to_m:.3f}", f"{one.length_m:.3f}", _number(one.grade),
         _number(one.grade_by_mass), made.results[one.top_sample].number, f"{one.top_length_share:.4f}",
         f"{one.top_metal_share:.4f}", _number(one.grade_without_top), f"{one.below_cutoff_m:.3f}", f"{one.gap_m:.3f}")
        for one in made.intercepts
    ]  # fmt: skip
    return _csv(INTERCEPT_HEAD, rows)


def _number(value: float | None) -> str:
    return "" if value is None or np.isnan(value) else f"{value:.6g}"


def _csv(head: tuple[str, ...], rows: list[tuple]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows(rows)
    return text.getvalue()
