"""Whether everybody bags the same half: an exact test of each operator against all the others.

A half that changes with the person at the saw is the first question of an audit. Counts are bags with the half that the
sheet asked for, and bags with the other one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from trayside.core.refusals import Floats, numbers, refuse_where, together


@dataclass(frozen=True, slots=True)
class SideTest:
    """Per operator: share of other halves, its exact chance against all others, the same for many looks, the verdict."""

    other_share: Floats
    p_value: Floats
    adjusted_p: Floats
    differs: NDArray[np.bool_]


def side_test(*, asked_count: ArrayLike, other_count: ArrayLike, chance_limit: float = 0.05) -> SideTest:
    """Fisher's exact test of each operator against all the others together, two-sided, adjusted by Holm.

    Given how many bags each filled and how many other halves there were in all, every split is as likely as its number
    of arrangements. The chance adds up all splits no likelier than the one seen. Holm's adjustment keeps the chance of
    accusing anybody wrongly below the limit, however many operators are looked at. An operator differs who bags the
    other half more often than the rest; one who does so less often is only the mirror of somebody else.

    Parameters
    ----------
    asked_count : array (n,)
        Bags with the half that the sheet asked for, one entry an operator.
    other_count : array (n,)
        Bags with the other half.
    chance_limit : float
        Largest adjusted chance at which an operator is said to differ.

    Returns
    -------
    SideTest
        .other_share (n,) NaN without bags; .p_value (n,), .adjusted_p (n,) from 0 to 1; .differs (n,)

    Raises
    ------
    ImpossibleValue
        When a count is negative or not whole, or the limit is out of range.

    Valid for: bags that were filled independently of each other. With one operator every chance is 1.
    Source: Fisher's exact test and Holm's step-down adjustment, textbook methods (from memory).
    Checked by: tests/published/test_side_counts_published.py, tests/unit/core/test_side_counts.py
    """
    asked, other = together(
        asked_count=numbers(np.atleast_1d(asked_count), "asked_count", at_least=0.0),
        other_count=numbers(other_count, "other_count", at_least=0.0),
    )
    for name, counts in (("asked_count", asked), ("other_count", other)):
        refuse_where(counts != np.floor(counts), counts, name, "is not a whole number", "Count bags")
    limit = float(numbers(chance_limit, "chance_limit", above=0.0, below=1.0))
    filled = asked + other
    share = np.divide(other, filled, out=np.full(filled.shape, np.nan), where=filled > 0)
    chance = np.array(
        [
            stats.fisher_exact([[one, two], [asked.sum() - one, other.sum() - two]]).pvalue
            for one, two in zip(asked, other, strict=True)
        ]
    )
    order = np.argsort(chance, kind="stable")
    adjusted = np.empty_like(chance)
    adjusted[order] = np.minimum(np.maximum.accumulate(chance[order] * np.arange(chance.size, 0, -1)), 1.0)
    rest = filled.sum() - filled
    rest_share = np.divide(other.sum() - other, rest, out=np.full(filled.shape, np.nan), where=rest > 0)
    with np.errstate(invalid="ignore"):
        differs = (adjusted <= limit) & (share > rest_share)
    return SideTest(other_share=share, p_value=chance, adjusted_p=adjusted, differs=differs)
