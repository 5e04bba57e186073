"""Ticket numbers over many ranges: never twice, never a void, never another hole's; what is printed can be read back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

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


@st.composite
def books(draw):
    first = draw(st.integers(0, 300))
    last = first + draw(st.integers(0, 40))
    return TicketRange(
        draw(st.sampled_from(["", "V", "V1", "W", "v"])),
        first,
        last,
        draw(st.integers(3, 5)),
        draw(st.sampled_from([None, None, "H1", "H2"])),
        tuple(draw(st.sets(st.integers(first, last), max_size=4))),
    )


def printable(book):
    voids = set(book.voids)
    return {
        format_number(prefix=book.prefix, serial=serial, width=book.width)
        for serial in range(book.first, book.last + 1)
        if serial not in voids
    }


@given(st.lists(books(), max_size=5), st.integers(0, 150), st.data())
def test_next_numbers_are_free_and_fresh_or_honestly_short(ranges, count, data):
    open_to_us = set().union(*(printable(book) for book in ranges if book.hole in (None, "H1")))
    used = data.draw(st.sets(st.sampled_from(sorted(open_to_us)), max_size=20)) if open_to_us else set()
    free = open_to_us - used
    if count > len(free):
        with pytest.raises(ImpossibleValue, match=f"^.*{count - len(free)} of {count} ticket numbers are short"):
            next_numbers(ranges=tuple(ranges), count=count, used=used, hole="H1")
        return
    got = [number.text for number in next_numbers(ranges=tuple(ranges), count=count, used=used, hole="H1")]
    assert len(got) == len(set(got)) == count
    assert set(got) <= free


@given(st.lists(books(), max_size=6))
def test_ranges_that_can_print_the_same_text_are_always_found(ranges):
    bare = [TicketRange(book.prefix, book.first, book.last, book.width) for book in ranges]
    found = {(over.first_range, over.second_range): over for over in overlapping_ranges(ranges=tuple(bare))}
    for i, one in enumerate(bare):
        for j in range(i + 1, len(bare)):
            shared = printable(one) & printable(bare[j])
            if shared:
                assert found[i, j].shared == len(shared)
                assert found[i, j].example in shared


@given(
    st.text("ABCXYZ019-", max_size=4),
    st.integers(0, 99999),
    st.sampled_from(CHECK_SCHEMES),
)
def test_what_is_printed_can_be_read_back(prefix, serial, scheme):
    text = format_number(prefix=prefix, serial=serial, width=5, check_scheme=scheme)
    assert check_number(text=text, check_scheme=scheme).ok
    parts = split_number(text=text, check_scheme=scheme, width=5)
    assert (parts.prefix, parts.serial) == (prefix, serial)
