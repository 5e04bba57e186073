"""One spelling for every record: RFC 8785, and the quick way writes the same bytes as the library."""

from __future__ import annotations

import hashlib
import json

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from trayside.errors import ImpossibleValue
from trayside.model.canonical import LARGEST_WHOLE, canonical, chain_hash
from trayside.model.event import FIELDS, Event
from trayside.model.ledger_record import link, stored_event

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-LARGEST_WHOLE, LARGEST_WHOLE) | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=12,
)

# RFC 8785, June 2020, section 3.2.2 and figures there: input and output of the first example, from memory.
RFC_EXAMPLE = {
    "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
    "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
    "literals": [None, True, False],
}
RFC_ANSWER = (
    '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
)
# RFC 8785, section 3.2.3: keys in the order of their UTF-16 code units, from memory.
RFC_KEYS = {
    "\u20ac": "Euro Sign",
    "\r": "Carriage Return",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
    "1": "One",
    "\U0001f600": "Emoji: Grinning Face",
    "\u0080": "Control",
    "\u00f6": "Latin Small Letter O With Diaeresis",
}
RFC_ORDER = (
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
)


def test_the_example_of_the_standard_is_spelled_as_there():
    assert canonical(RFC_EXAMPLE).decode() == RFC_ANSWER


# RFC 8785, section 3.2.4: the UTF-8 bytes of that answer, from memory.
RFC_BYTES = """
7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72
75 65 2c 66 61 6c 73 65 5d 2c 22 6e 75 6d 62 65 72 73 22 3a
5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 2c 31
65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37
5d 2c 22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30
30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d
"""


def test_the_bytes_of_the_example_are_those_listed_in_the_standard():
    assert canonical(RFC_EXAMPLE) == bytes.fromhex(RFC_BYTES)


def test_keys_stand_in_the_order_of_the_standard():
    assert tuple(json.loads(canonical(RFC_KEYS)).values()) == RFC_ORDER


@given(PLAIN)
def test_the_quick_way_writes_the_same_bytes_as_the_library(value):
    assert canonical(value) == rfc8785.dumps(value)


@pytest.mark.parametrize("value", [2**53, -(2**53), [2**60], {"a": 10**30}])
def test_a_number_that_readers_would_round_is_refused(value):
    with pytest.raises(ImpossibleValue, match="canonical JSON"):
        canonical(value)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), {1: "a"}, {"a": {2: 3}}, "\ud800", {"a": object()}])
def test_what_is_not_json_is_refused(value):
    with pytest.raises(ImpossibleValue):
        canonical(value)


def test_the_chain_hash_is_sha256_of_the_hash_before_and_the_record():
    """FIPS 180 gives SHA-256 of "abc" (from memory); with it the text "abc" must hash as any other tool does."""
    assert chain_hash("a", b"bc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert chain_hash("0" * 64, b"{}") == hashlib.sha256(b"0" * 64 + b"{}").hexdigest()


@given(
    texts=st.lists(TEXTS, min_size=6, max_size=6),
    values=st.dictionaries(TEXTS, st.none() | st.booleans() | st.integers(-9, 9) | TEXTS | st.lists(TEXTS), max_size=4),
    tray=st.none() | st.integers(0, 10**6),
)
def test_a_record_is_canonical_json_and_comes_back_as_it_was(texts, values, tray):
    person, device, hole_id, reason, why, object_id = texts
    event = Event(
        "id", "cut", "bag", object_id, person, device, "2031-05-04T07:30:15.123Z", -240, "0.1",
        hole_id=hole_id, tray=tray, values=values, reason=reason,
    )  # fmt: skip
    stored, record = link(event, seq=7, stored_at="2031-05-04T08:00:00.000Z", prev_hash="f" * 64, why=why)
    assert record.encode() == rfc8785.dumps(json.loads(record))
    assert set(json.loads(record)) == {*FIELDS, "seq", "stored_at", "standing", "why", "against"}
    assert stored_event(record, prev_hash="f" * 64, own_hash=stored.hash) == stored
    assert stored.hash == chain_hash("f" * 64, record.encode())
