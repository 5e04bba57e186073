"""Misread numbers: distance against a plain recursion, assignment against every matching, rivals named."""

import itertools
from functools import cache

import numpy as np
import pytest

from trayside.core.misread_numbers import DEFAULT_COSTS, EditCosts, misread_distance, suggest_numbers
from trayside.errors import ImpossibleValue


def slow_distance(one, other):
    """The definition as a recursion on prefixes, with the few prices these letters need."""
    price = {
        frozenset("0O"): 0.3, frozenset("1I"): 0.3, frozenset("5S"): 0.3, frozenset("17"): 0.5, frozenset("Vv"): 0.05
    }  # fmt: skip

    def lone(c):
        return 0.1 if c == "-" else 0.8

    @cache
    def upto(i, j):
        if i == 0 and j == 0:
            return 0.0
        ways = []
        if i:
            ways.append(upto(i - 1, j) + lone(one[i - 1]))
        if j:
            ways.append(upto(i, j - 1) + lone(other[j - 1]))
        if i and j:
            a, b = one[i - 1], other[j - 1]
            ways.append(upto(i - 1, j - 1) + (0.0 if a == b else price.get(frozenset(a + b), 1.0)))
        if i > 1 and j > 1 and one[i - 2 : i] == other[j - 2 : j][::-1] and one[i - 1] != one[i - 2]:
            ways.append(upto(i - 2, j - 2) + 0.5)
        return min(ways)

    return upto(len(one), len(other))


def test_distance_agrees_with_the_plain_recursion():
    chance = np.random.default_rng(1)
    letters = list("0O1I5S7Vv-")
    for _ in range(400):
        one, other = ("".join(chance.choice(letters, chance.integers(0, 7))) for _ in range(2))
        assert misread_distance(one=one, other=other) == pytest.approx(slow_distance(one, other))


@pytest.mark.parametrize(
    ("one", "other", "distance"),
    [
        ("V1032", "V1032", 0.0),
        ("V1O32", "V1032", DEFAULT_COSTS.look_alike),
        ("V1023", "V1032", DEFAULT_COSTS.exchanged),
        ("v-1032", "V1032", DEFAULT_COSTS.capital + DEFAULT_COSTS.separator),
        ("V7032", "V1032", DEFAULT_COSTS.hand_alike),
        ("V132", "V1032", DEFAULT_COSTS.one_too_many),
        ("V1032", "V1432", DEFAULT_COSTS.wrong),
        ("Vl032", "V1032", DEFAULT_COSTS.look_alike),
        ("V8032", "VB032", DEFAULT_COSTS.look_alike),
    ],
)
def test_each_slip_has_its_price(one, other, distance):
    assert misread_distance(one=one, other=other) == pytest.approx(distance)
    assert misread_distance(one=other, other=one) == pytest.approx(distance)


def test_a_digit_transposed_between_two_lists_is_found():
    (one,) = suggest_numbers(unknown=["T20417"], missing=["T20471", "T20399"])
    assert (one.suggestion, one.clear) == ("T20471", True)


def test_all_are_settled_at_once_and_none_twice():
    # Taken alone both unknown numbers are nearest to V1032; only together do both get one.
    found = suggest_numbers(unknown=["V1O32", "V1023"], missing=["V1032", "V1O23"])
    assert len({one.suggestion for one in found}) == 2
    slow = min(
        itertools.permutations(["V1032", "V1O23"]),
        key=lambda order: sum(misread_distance(one=u, other=m) for u, m in zip(["V1O32", "V1023"], order, strict=True)),
    )
    assert tuple(one.suggestion for one in found) == slow


@pytest.mark.parametrize("seed", range(15))
def test_the_assignment_is_the_best_of_all(seed):
    chance = np.random.default_rng(seed)

    def numbers(count):
        return list({"V" + "".join(chance.choice(list("01O7"), 3)) for _ in range(count)})

    unknown = numbers(4)
    missing = [number for number in numbers(4) if number not in unknown]
    found = suggest_numbers(unknown=unknown, missing=missing)
    limit = DEFAULT_COSTS.farthest

    def total(choice):
        picks = [pick for pick in choice if pick is not None]
        if len(set(picks)) < len(picks):
            return np.inf
        pairs = [(u, m) for u, m in zip(unknown, choice, strict=True) if m is not None]
        parts = [misread_distance(one=u, other=m) for u, m in pairs]
        return np.inf if any(part > limit for part in parts) else sum(parts) + limit * (len(unknown) - len(parts))

    best = min(total(choice) for choice in itertools.product([None, *missing], repeat=len(unknown)))
    assert total([one.suggestion for one in found]) == pytest.approx(best)


def test_nothing_near_gets_no_suggestion():
    (one,) = suggest_numbers(unknown=["LAB BLANK"], missing=["V1032"])
    assert one.suggestion is None
    assert one.distance == float("inf")
    assert one.rivals == ()


def test_rivals_and_rival_readings_are_named():
    (one,) = suggest_numbers(unknown=["V104"], missing=["V1044", "V1034", "V9999"])
    assert {one.suggestion, *one.rivals} == {"V1044", "V1034"}
    assert not one.clear
    first, second = suggest_numbers(unknown=["V1O32", "V1Q32"], missing=["V1032"], costs=EditCosts(margin=1.0))
    assert first.suggestion == "V1032"
    assert first.contested_by == ("V1Q32",)
    assert not first.clear
    assert second.suggestion is None
    assert second.rivals == ("V1032",)


def test_empty_lists():
    assert suggest_numbers(unknown=[], missing=["V1"]) == ()
    (one,) = suggest_numbers(unknown=["V1"], missing=[])
    assert one.suggestion is None


@pytest.mark.parametrize(
    "change",
    [
        {"unknown": ["V1", ""]},
        {"unknown": ["V1", "V1"]},
        {"missing": ["V2", "V2"]},
        {"unknown": ["V2"]},
        {"costs": EditCosts(wrong=-1.0)},
    ],
)
def test_impossible_lists_are_refused(change):
    with pytest.raises(ImpossibleValue):
        suggest_numbers(**{"unknown": ["V1"], "missing": ["V2"]} | change)
