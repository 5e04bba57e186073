"""Controls whose tag lies: which material a failing standard or blank really reads like, over all elements.

Done before anything is called a failure of the laboratory, so that an exchanged sachet is not assayed again.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import stats

from trayside.core.standard_identity import ANOTHER, SEVERAL, StandardCard, nearest_standard
from trayside.model.rules import ResultSettings

BLANK_LIMIT_SDS = 3.0
"""A blank known by its upper limit alone is taken as zero with a third of that limit as standard deviation."""


@dataclass(frozen=True, slots=True)
class Mislabelled:
    """A control that reads like another material. `other_number` is the control it was exchanged with, if one was."""

    certificate_id: str
    place: int
    number: str
    label: str
    reads_like: str
    certain: bool
    elements: int
    own_distance: float
    chance: float
    other_number: str | None = None


def cards_of(certified: pl.DataFrame) -> tuple[tuple[str, ...], tuple[StandardCard, ...]]:
    """The elements in order, and a card a material."""
    elements = tuple(sorted(certified["element"].unique().to_list()))
    place = {element: at for at, element in enumerate(elements)}
    means: dict[str, list[float]] = defaultdict(lambda: [np.nan] * len(elements))
    sds: dict[str, list[float]] = defaultdict(lambda: [np.nan] * len(elements))
    for row in certified.iter_rows(named=True):
        mean, sd = row["certified_ppm"], row["sd_ppm"]
        if (mean is None or sd is None) and row["is_blank"] and row["upper_ppm"]:
            mean, sd = 0.0, row["upper_ppm"] / BLANK_LIMIT_SDS
        if mean is not None and sd is not None:
            means[row["material"]][place[row["element"]]] = mean
            sds[row["material"]][place[row["element"]]] = sd
    return elements, tuple(StandardCard(code, tuple(means[code]), tuple(sds[code])) for code in sorted(means))


def suspects(standards: pl.DataFrame, blanks: pl.DataFrame, *, settings: ResultSettings) -> pl.DataFrame:
    """Lines of controls too far from their label to leave it unquestioned: certificate, place, number, material."""
    line = ("certificate_id", "place", "number", "material")
    far = (
        standards.filter(pl.col("z").is_not_null())
        .group_by(line)
        .agg(distance=(pl.col("z") ** 2).sum(), elements=pl.len(), widest=pl.col("z").abs().max())
    )
    limit = stats.chi2.ppf(settings.own_label_level, np.arange(1, 201))
    threshold = limit[np.minimum(far["elements"].to_numpy(), 200) - 1] if far.height else np.zeros(0)
    odd = far.filter((pl.col("distance") > pl.Series(threshold)) | (pl.col("widest") > 3.0)).select(line)
    high = blanks.filter(pl.col("above")).select(line).unique()
    return pl.concat([odd, high])


def find_mislabelled(
    wanted: pl.DataFrame, results: pl.DataFrame, certified: pl.DataFrame, *, settings: ResultSettings
) -> tuple[Mislabelled, ...]:
    """Which of these lines read like another material in stock."""
    if wanted.is_empty():
        return ()
    elements, cards = cards_of(certified)
    known = {card.code for card in cards}
    place = {element: at for at, element in enumerate(elements)}
    values: dict[tuple[str, int], list[float]] = defaultdict(lambda: [np.nan] * len(elements))
    below: dict[tuple[str, int], list[bool]] = defaultdict(lambda: [False] * len(elements))
    lines = results.join(wanted.select("certificate_id", "place"), on=("certificate_id", "place"), how="semi")
    usable = lines.filter(
        pl.col("value_ppm").is_not_null() & pl.col("censor").is_in(["none", "lt"]) & pl.col("element").is_in(elements)
    )
    for certificate, at, element, value, censor in usable.select(
        "certificate_id", "place", "element", "value_ppm", "censor"
    ).iter_rows():
        values[certificate, at][place[element]] = value
        below[certificate, at][place[element]] = censor == "lt"
    found = []
    for certificate, at, number, material in wanted.select("certificate_id", "place", "number", "material").iter_rows():
        if (certificate, at) not in values:
            continue
        identity = nearest_standard(
            values=values[certificate, at],
            censored=below[certificate, at],
            cards=cards,
            label=material if material in known else None,
            own_level=settings.own_label_level,
            other_level=settings.other_label_level,
        )
        if identity.verdict in (ANOTHER, SEVERAL) and identity.nearest is not None:
            found.append(
                Mislabelled(
                    certificate,
                    at,
                    number,
                    material,
                    identity.nearest.code,
                    identity.verdict == ANOTHER,
                    identity.nearest.elements,
                    identity.own.distance if identity.own else float("nan"),
                    identity.nearest.p_value,
                )
            )
    return _exchanged(found)


def _exchanged(found: list[Mislabelled]) -> tuple[Mislabelled, ...]:
    """Name the partner of each control whose place another one took, in the same certificate."""
    taken: set[int] = set()
    partner: dict[int, str] = {}
    for i, one in enumerate(found):
        if i in taken:
            continue
        for j in range(i + 1, len(found)):
            other = found[j]
            swapped = one.reads_like == other.label and other.reads_like == one.label
            if j not in taken and swapped and one.certificate_id == other.certificate_id:
                partner |= {i: other.number, j: one.number}
                taken |= {i, j}
                break
    return tuple(
        Mislabelled(**{name: getattr(one, name) for name in Mislabelled.__slots__} | {"other_number": partner.get(i)})
        for i, one in enumerate(found)
    )


def mark_mislabelled(frame: pl.DataFrame, mislabelled: tuple[Mislabelled, ...]) -> pl.DataFrame:
    """The frame with `reads_like`: the material a control really is, null where the label holds."""
    rows = [(one.certificate_id, one.place, one.reads_like) for one in mislabelled]
    marks = pl.DataFrame(
        rows, schema={"certificate_id": pl.String, "place": pl.Int64, "reads_like": pl.String}, orient="row"
    )
    return frame.join(marks, on=("certificate_id", "place"), how="left", maintain_order="left")
