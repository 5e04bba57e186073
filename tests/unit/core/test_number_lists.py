"""Refusals of lists: they name the argument, the count and what to do."""

import math

import pytest

from trayside.core.number_lists import exp_or_infinite, fraction, number_list, one_number, paired, whole_count
from trayside.errors import ImpossibleValue


def test_a_list_comes_back_as_numbers():
    assert number_list([1, 2.5], "values").tolist() == [1.0, 2.5]
    assert number_list([], "values", least=0).tolist() == []


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: number_list([1.0], "values", least=3), "values: 1 given, 3 needed"),
        (lambda: number_list([[1.0]], "values"), "2 dimensions"),
        (lambda: number_list(5.0, "values"), "0 dimensions"),
        (lambda: number_list(["0.1"], "values"), "not a number"),
        (lambda: number_list([1.0, None], "values"), "values"),
        (lambda: paired([1.0], [1.0, 2.0], names=("first", "second")), "first and second: 1 and 2 results"),
        (lambda: paired([-1.0], [1.0], names=("first", "second"), at_least=0.0), "first"),
        (lambda: one_number([1.0], "k"), "k: a list of 1"),
        (lambda: fraction(95, "confidence"), "confidence"),
        (lambda: fraction(0.0, "confidence"), "confidence"),
        (lambda: whole_count(2.5, "pairs"), "not a whole number"),
        (lambda: whole_count(0, "pairs"), "pairs"),
    ],
)
def test_a_refusal_names_place_and_reason(call, words):
    with pytest.raises(ImpossibleValue) as refused:
        call()
    assert words in str(refused.value)


def test_too_wide_an_interval_is_infinite():
    assert exp_or_infinite(1e9) == math.inf
    assert exp_or_infinite(-1e9) == 0.0
    assert exp_or_infinite(1.0) == math.e
