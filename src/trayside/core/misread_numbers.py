"""Which missing number an unknown one in a received list may be: a misread character, two exchanged, one left out.

The distance of two numbers is the cheapest way to write one as the other. Characters that look alike cost little, two
neighbours exchanged cost little, capitals and separators next to nothing. All unknown numbers are settled at once: a
missing number is given to one of them only, so that the sum of distances is as small as can be, and a number with
nothing near enough gets none. A suggestion is for a person to confirm; the rivals that are as near are named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from trayside.core.look_alikes import LOOK_ALIKE_CLASSES
from trayside.core.number_lists import one_number
from trayside.core.refusals import Floats
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

HAND_PAIRS = ("17", "49", "38", "56", "06", "27", "79", "UV", "MN", "CG", "DO", "EF", "PR", "QO")
"""Characters that tired or quick hands write alike. Common practice, no source."""

_SEPARATORS = frozenset("-_./ ")


@dataclass(frozen=True, slots=True)
class EditCosts:
    """Cost of each slip against one plainly wrong character, which costs 1: starting choices of our own."""

    capital: float = 0.05
    separator: float = 0.1
    look_alike: float = 0.3
    hand_alike: float = 0.5
    exchanged: float = 0.5
    wrong: float = 1.0
    one_too_many: float = 0.8  # or one left out
    farthest: float = 1.6  # beyond this no suggestion
    margin: float = 0.25  # others nearer than this to the suggestion are named as rivals
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own", "common practice, no source"
    )


DEFAULT_COSTS = EditCosts()


@dataclass(frozen=True, slots=True)
class MisreadSuggestion:
    """The missing number an unknown one may be (None: nothing near enough), and what is about as near.

    `rivals` are other missing numbers for this one; `contested_by` are other unknown numbers for the suggestion.
    """

    unknown: str
    suggestion: str | None
    distance: float  # infinite without suggestion
    rivals: tuple[str, ...]
    contested_by: tuple[str, ...]

    @property
    def clear(self) -> bool:
        """True when there is a suggestion and nothing else is about as near."""
        return self.suggestion is not None and not self.rivals and not self.contested_by


def suggest_numbers(
    *, unknown: Sequence[str], missing: Sequence[str], costs: EditCosts = DEFAULT_COSTS
) -> tuple[MisreadSuggestion, ...]:
    """For each unknown number the missing number it most likely is.

    Distances of all pairs, then the assignment with the smallest sum in which leaving a number without suggestion
    costs the limit. Rivals are the missing numbers that are at most a margin farther than the suggestion, also those
    given to another unknown number; without a suggestion, all within the limit.

    Parameters
    ----------
    unknown : sequence (u,) of str
        Numbers received that were never sent.
    missing : sequence (m,) of str
        Numbers sent that were not received.
    costs : EditCosts
        Cost of each slip and the limit; a setting.

    Returns
    -------
    tuple of MisreadSuggestion
        One for each unknown number, in their order: .suggestion, .distance [1], .rivals, .contested_by, .clear

    Raises
    ------
    ImpossibleValue
        When a number is empty, comes twice in a list, or is in both.

    Valid for: lists of up to a thousand or so each.
    Source: edit distance with neighbours exchanged (Damerau 1964, Comm. ACM 7:171, from memory), assignment by
        scipy (derived); costs: common practice, no source.
    Checked by: tests/unit/core/test_misread_numbers.py, tests/properties/test_misread_numbers_properties.py
    """
    _check(unknown, missing, costs)
    if not unknown:
        return ()
    limit = costs.farthest
    distance = _all_distances(unknown, missing, costs)
    # One private "none" for every unknown number, at the limit; beyond the limit a pair is never worth it.
    table = np.hstack([np.where(distance <= limit, distance, 2.0 * limit + 1.0), np.full((len(unknown),) * 2, limit)])
    _, given = linear_sum_assignment(table)
    suggestions = []
    for row, (number, column) in enumerate(zip(unknown, given.tolist(), strict=True)):
        chosen = column if column < len(missing) and distance[row, column] <= limit else None
        reach = limit if chosen is None else min(limit, distance[row, chosen] + costs.margin)
        others = [] if chosen is None else np.flatnonzero(distance[:, chosen] <= reach).tolist()
        near = [int(k) for k in np.argsort(distance[row], kind="stable") if distance[row, k] <= reach and k != chosen]
        suggestions.append(
            MisreadSuggestion(
                unknown=number,
                suggestion=None if chosen is None else missing[chosen],
                distance=float("inf") if chosen is None else float(distance[row, chosen]),
                rivals=tuple(missing[k] for k in near),
                contested_by=tuple(unknown[k] for k in others if k != row),
            )
        )
    return tuple(suggestions)


def misread_distance(*, one: str, other: str, costs: EditCosts = DEFAULT_COSTS) -> float:
    """Distance of two numbers: the cheapest way to write one as the other.

    Characters in turn are kept, replaced, left out, put in, or exchanged with the next; no character is changed
    twice.

    Parameters
    ----------
    one : str
        A number.
    other : str
        Another number.
    costs : EditCosts
        Cost of each slip; a setting.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When a cost is negative.

    Valid for: any text; the same both ways.
    Source: Damerau 1964, Comm. ACM 7:171 (from memory), with costs; costs: common practice, no source.
    Checked by: tests/unit/core/test_misread_numbers.py, tests/properties/test_misread_numbers_properties.py
    """
    _check_costs(costs)
    return float(_all_distances([one], [other], costs)[0, 0])


def _check_costs(costs: EditCosts) -> None:
    for name in costs.__slots__:
        if name != "source":
            one_number(getattr(costs, name), name, at_least=0.0)


def _check(unknown: Sequence[str], missing: Sequence[str], costs: EditCosts) -> None:
    _check_costs(costs)
    for numbers, where in ((unknown, "unknown"), (missing, "missing")):
        if any(not number for number in numbers):
            raise ImpossibleValue("an empty number", where=where, remedy="Leave empty lines out")
        if len(set(numbers)) != len(numbers):
            twice = next(number for k, number in enumerate(numbers) if number in numbers[:k])
            raise ImpossibleValue(f"{twice} comes twice", where=where, remedy="List each number once")
    both = set(unknown) & set(missing)
    if both:
        raise ImpossibleValue(
            f"{min(both)} is unknown and missing", where="unknown", remedy="Match equal numbers before asking"
        )


def _all_distances(numbers: Sequence[str], others: Sequence[str], costs: EditCosts) -> Floats:
    """Distances (numbers, others). Each cell of the usual table is a list over the others, so that few steps do."""
    letters = sorted(set().union(*numbers, *others))
    place = {letter: k for k, letter in enumerate(letters)}
    lone = np.array([_lone(letter, costs) for letter in letters] + [0.0])
    price = np.zeros((len(letters), len(letters) + 1))
    price[:, :-1] = [[_replaced(one, other, costs) for other in letters] for one in letters]
    lengths = np.array([len(other) for other in others], dtype=np.int64)
    # Short numbers are filled up with a letter of their own; those cells are worked out and never read.
    codes = np.full((len(others), int(lengths.max(initial=0))), len(letters), dtype=np.int64)
    for row, other in enumerate(others):
        codes[row, : len(other)] = [place[letter] for letter in other]
    every = np.arange(len(others))
    return np.array(
        [
            _one_to_many([place[c] for c in number], codes, price, lone, costs.exchanged)[lengths, every]
            for number in numbers
        ]
    ).reshape(len(numbers), len(others))


def _one_to_many(number: list[int], codes: NDArray[np.int64], price: Floats, lone: Floats, exchanged: float) -> Floats:
    """Distances of one number to the first 0, 1, 2 ... characters of each of the others."""
    count, longest = codes.shape
    put_in = lone[codes].T
    before_last = np.zeros((longest + 1, count))
    last = np.vstack([np.zeros((1, count)), put_in.cumsum(axis=0)])
    for i, letter in enumerate(number):
        row = np.empty_like(last)
        row[0] = last[0] + lone[letter]
        for k in range(longest):
            best = np.minimum(last[k + 1] + lone[letter], row[k] + put_in[k])
            best = np.minimum(best, last[k] + price[letter, codes[:, k]])
            if i and k and letter != number[i - 1]:
                crossed = (codes[:, k - 1] == letter) & (codes[:, k] == number[i - 1])
                best = np.where(crossed, np.minimum(best, before_last[k - 1] + exchanged), best)
            row[k + 1] = best
        before_last, last = last, row
    return last


def _lone(character: str, costs: EditCosts) -> float:
    return costs.separator if character in _SEPARATORS else costs.one_too_many


def _replaced(one: str, other: str, costs: EditCosts) -> float:
    if one == other:
        return 0.0
    if one.upper() == other.upper():
        return costs.capital
    if one in _SEPARATORS and other in _SEPARATORS:
        return costs.separator
    pair = {one.upper(), other.upper()}
    if any(one in group and other in group for group in LOOK_ALIKE_CLASSES) or any(
        pair <= set(group.upper()) for group in LOOK_ALIKE_CLASSES
    ):
        return costs.look_alike
    if any(pair == set(hand) for hand in HAND_PAIRS):
        return costs.hand_alike
    return costs.wrong
