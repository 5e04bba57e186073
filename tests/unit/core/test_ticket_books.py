"""Ticket numbers: formatting, splitting, checking, the next free ones, colliding ranges."""

from itertools import pairwise

import pytest

from trayside.core.sample_numbers import (
    CHECK_SCHEMES,
    TicketRange,
    check_number,
    format_number,
    next_numbers,
    overlapping_ranges,
    split_number,
)
from trayside.errors import ImpossibleValue


def texts(**asked):
    return [number.text for number in next_numbers(**asked)]


def test_numbers_are_padded_and_in_capitals():
    assert format_number(prefix="vr", serial=7, width=5) == "VR00007"
    assert format_number(prefix="", serial=0, width=1) == "0"


@pytest.mark.parametrize("scheme", CHECK_SCHEMES)
def test_a_number_splits_back_into_its_parts(scheme):
    for serial in (0, 7, 98765):
        text = format_number(prefix="VR-", serial=serial, width=5, check_scheme=scheme)
        parts = split_number(text=f" {text.lower()} ", check_scheme=scheme)
        assert (parts.prefix, parts.serial, parts.width) == ("VR-", serial, 5)
        assert check_number(text=text, check_scheme=scheme).ok


def test_digits_of_the_prefix_need_the_width():
    assert split_number(text="A10023").prefix == "A"
    assert split_number(text="A10023", width=4).prefix == "A1"
    assert split_number(text="A10023", width=4).serial == 23


@pytest.mark.parametrize("scheme", [scheme for scheme in CHECK_SCHEMES if scheme])
def test_every_wrong_digit_is_caught(scheme):
    for serial in range(0, 1000, 7):
        text = format_number(prefix="", serial=serial, width=3, check_scheme=scheme)
        for place in range(3):
            for digit in "0123456789":
                wrong = text[:place] + digit + text[place + 1 :]
                assert check_number(text=wrong, check_scheme=scheme).ok == (wrong == text)


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_damm_catches_every_wrong_digit_and_every_neighbour_swap(width):
    """Damm's property, tried on every serial of one to four digits, check digit included. Validity is judged for all texts once."""
    valid = {format_number(prefix="", serial=s, width=width, check_scheme="damm") for s in range(10**width)}
    assert len(valid) == 10**width
    for text in valid:
        for place in range(width + 1):
            for digit in "0123456789":
                if digit != text[place]:
                    assert text[:place] + digit + text[place + 1 :] not in valid
        for place in range(width):
            if text[place] != text[place + 1]:
                assert text[:place] + text[place + 1] + text[place] + text[place + 2 :] not in valid
    some = sorted(valid)[:: max(1, len(valid) // 50)]
    assert all(check_number(text=text, check_scheme="damm").ok for text in some)


def test_mod_11_2_catches_every_neighbour_swap_of_three_digits():
    for serial in range(1000):
        text = format_number(prefix="", serial=serial, width=3, check_scheme="iso7064_mod11_2")
        for place in range(2):
            swapped = text[:place] + text[place + 1] + text[place] + text[place + 2 :]
            assert check_number(text=swapped, check_scheme="iso7064_mod11_2").ok == (swapped == text)


def test_mod_11_10_misses_some_swaps_so_it_is_not_our_first_choice():
    missed = 0
    for serial in range(1000):
        text = format_number(prefix="", serial=serial, width=3, check_scheme="iso7064_mod11_10")
        swapped = text[1] + text[0] + text[2:]
        missed += swapped != text and check_number(text=swapped, check_scheme="iso7064_mod11_10").ok
    assert missed > 0


def test_letters_are_protected_by_mod_37_36_only():
    good = format_number(prefix="VR", serial=12, width=4, check_scheme="iso7064_mod37_36")
    assert not check_number(text="VB" + good[2:], check_scheme="iso7064_mod37_36").ok
    digits_only = format_number(prefix="VR", serial=12, width=4, check_scheme="damm")
    assert check_number(text="VB" + digits_only[2:], check_scheme="damm").ok


def test_a_wrong_number_says_why_but_not_what_to_type():
    good = format_number(prefix="VR", serial=12, width=4, check_scheme="damm")
    wrong = good[:-1] + str((int(good[-1]) + 1) % 10)
    result = check_number(text=wrong, check_scheme="damm")
    assert not result.ok
    assert "does not fit" in result.why
    assert good not in result.why
    assert not check_number(text="VR", check_scheme="damm").ok
    assert not check_number(text="", check_scheme=None).ok
    assert not check_number(text="VÄ00127", check_scheme="damm").ok


def test_next_numbers_skip_voids_and_used_ones():
    book = TicketRange("VR", 1, 8, 4, voids=(2, 5))
    assert texts(ranges=(book,), count=4, used={"vr0001", " VR0006 "}) == ["VR0003", "VR0004", "VR0007", "VR0008"]
    assert texts(ranges=(book,), count=0, used=()) == []


def test_a_number_used_without_its_check_character_is_still_used():
    book = TicketRange("VR", 1, 3, 4)
    plain = texts(ranges=(book,), count=3, used=())
    checked = texts(ranges=(book,), count=3, used=(), check_scheme="damm")
    assert texts(ranges=(book,), count=2, used=plain[:1], check_scheme="damm") == checked[1:]
    assert [text[:-1] for text in checked] == plain


def test_ranges_of_the_hole_come_first_and_those_of_others_never():
    free = TicketRange("A", 1, 2, 3)
    mine = TicketRange("B", 1, 2, 3, hole="VR-01")
    other = TicketRange("C", 1, 2, 3, hole="VR-02")
    assert texts(ranges=(other, free, mine), count=4, used=(), hole="VR-01") == ["B001", "B002", "A001", "A002"]
    assert texts(ranges=(other, free, mine), count=2, used=()) == ["A001", "A002"]
    with pytest.raises(ImpossibleValue, match="2 of 6"):
        next_numbers(ranges=(other, free, mine), count=6, used=(), hole="VR-01")


def test_running_out_says_how_many_are_short():
    with pytest.raises(ImpossibleValue, match="3 of 5 ticket numbers are short"):
        next_numbers(ranges=(TicketRange("VR", 1, 2, 4),), count=5, used=())
    with pytest.raises(ImpossibleValue):
        next_numbers(ranges=(), count=-1, used=())


def test_overlapping_books_never_give_a_number_twice():
    books = (TicketRange("VR", 1, 50, 4), TicketRange("VR", 40, 90, 4), TicketRange("VR1", 1, 9, 3))
    got = texts(ranges=books, count=99, used=())
    assert len(set(got)) == 99


def test_two_crews_on_one_range_are_found():
    books = (TicketRange("VR", 1, 100, 5), TicketRange("XX", 1, 100, 5), TicketRange("vr", 81, 200, 5, hole="VR-02"))
    (found,) = overlapping_ranges(ranges=books)
    assert (found.first_range, found.second_range, found.shared) == (0, 2, 20)
    assert found.example == "VR00081"


def test_ranges_that_touch_do_not_overlap():
    books = (TicketRange("VR", 1, 100, 5), TicketRange("VR", 101, 200, 5))
    assert overlapping_ranges(ranges=books) == ()


def test_the_same_text_from_another_prefix_is_found():
    books = (TicketRange("VR1", 1, 20, 3), TicketRange("VR", 1010, 1500, 4))
    (found,) = overlapping_ranges(ranges=books)
    assert found.shared == 11
    assert found.example == "VR1010"


def test_the_same_serials_in_another_width_are_found():
    (found,) = overlapping_ranges(ranges=(TicketRange("VR", 1, 20, 3), TicketRange("VR", 5, 9, 5)))
    assert found.shared == 5
    assert "leading zeros" in found.why


def test_every_overlapping_pair_is_named():
    books = tuple(TicketRange("V", first, first + 10, 4) for first in (0, 5, 9, 30))
    pairs = [(found.first_range, found.second_range) for found in overlapping_ranges(ranges=books)]
    assert pairs == [(0, 1), (0, 2), (1, 2)]
    spans = [set(range(book.first, book.last + 1)) for book in books]
    for found, (one, other) in zip(overlapping_ranges(ranges=books), pairs, strict=True):
        assert found.shared == len(spans[one] & spans[other])


def test_numbers_of_a_range_are_consecutive():
    serials = [number.serial for number in next_numbers(ranges=(TicketRange("V", 10, 99, 4),), count=50, used=())]
    assert all(after - before == 1 for before, after in pairwise(serials))


@pytest.mark.parametrize(
    "parts",
    [
        {"first": 10, "last": 9},
        {"first": -1},
        {"last": 100_000},
        {"voids": (500,)},
        {"prefix": " VR"},
        {"prefix": "V\nR"},
    ],
)
def test_impossible_ranges_are_refused(parts):
    with pytest.raises(ImpossibleValue):
        TicketRange(**{"prefix": "VR", "first": 1, "last": 99, "width": 5, **parts})


def test_impossible_numbers_are_refused():
    with pytest.raises(ImpossibleValue):
        format_number(prefix="V", serial=1000, width=3)
    with pytest.raises(ImpossibleValue):
        format_number(prefix="V", serial=-1, width=3)
    with pytest.raises(ImpossibleValue, match="not known"):
        format_number(prefix="V", serial=1, width=3, check_scheme="luhn")
    with pytest.raises(ImpossibleValue, match="cannot be covered"):
        format_number(prefix="Å", serial=1, width=3, check_scheme="iso7064_mod37_36")
    with pytest.raises(ImpossibleValue):
        split_number(text="VR")
    with pytest.raises(ImpossibleValue):
        split_number(text="VR12", width=3)
    with pytest.raises(ImpossibleValue):
        split_number(text="VR12", check_scheme="luhn")
    with pytest.raises(ImpossibleValue):
        check_number(text="VR12", check_scheme="luhn")
