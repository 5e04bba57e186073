"""Lists of results as statistics need them: one row, long enough, pairs of one length, settings in range."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import Floats, numbers
from trayside.errors import ImpossibleValue


def number_list(values: ArrayLike, name: str, *, least: int = 1, at_least: float | None = None) -> Floats:
    """The values as one row of numbers, or a refusal that says how many are needed."""
    array = numbers(values, name, at_least=at_least)
    if array.ndim != 1:
        raise ImpossibleValue(f"{array.ndim} dimensions", where=name, remedy="Give one plain list of numbers")
    if len(array) < least:
        raise ImpossibleValue(
            f"{len(array)} given, {least} needed", where=name, remedy="Wait for more results, or take a longer period"
        )
    return array


def paired(
    first: ArrayLike, second: ArrayLike, *, names: tuple[str, str], least: int = 1, at_least: float | None = None
) -> tuple[Floats, Floats]:
    """Two lists of one length, first and second result of each pair."""
    a = number_list(first, names[0], least=least, at_least=at_least)
    b = number_list(second, names[1], least=least, at_least=at_least)
    if len(a) != len(b):
        raise ImpossibleValue(
            f"{len(a)} and {len(b)} results",
            where=f"{names[0]} and {names[1]}",
            remedy="Give both results of each pair",
        )
    return a, b


def one_number(
    value: ArrayLike,
    name: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
) -> float:
    """One number inside its range."""
    array = numbers(value, name, above=above, at_least=at_least, below=below, at_most=at_most)
    if array.ndim:
        raise ImpossibleValue(f"a list of {array.size}", where=name, remedy="Give one number")
    return float(array)


def fraction(value: ArrayLike, name: str) -> float:
    """A confidence, level or power: more than 0 and less than 1."""
    return one_number(value, name, above=0.0, below=1.0)


def whole_count(value: object, name: str, *, least: int = 1) -> int:
    """A count, not a measurement."""
    number = one_number(value, name, at_least=float(least))
    if number != np.floor(number):
        raise ImpossibleValue(f"{number:g} is not a whole number", where=name, remedy="Give a count")
    return int(number)


def exp_or_infinite(value: float) -> float:
    """e to the value; infinite, not an error, when an interval on a logarithm is wider than any number."""
    return math.inf if value > 709.0 else math.exp(value)
