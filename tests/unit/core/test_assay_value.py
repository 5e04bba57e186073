"""Reading one result: numbers, limits, words, marks, and what is left for a person."""

from decimal import Decimal

import numpy as np
import pytest

from trayside.core.assay_value import (
    INSUFFICIENT,
    LESS,
    MORE,
    NONE,
    NOT_ANALYSED,
    NOT_DETECTED,
    NOT_RECEIVED,
    REVIEW,
    WORDS,
    ReadingRules,
    propose_decimal_mark,
    read_assay_column,
    read_assay_value,
)
from trayside.errors import ImpossibleValue

COMMA = ReadingRules(decimal_mark=",")
ASK = ReadingRules(decimal_mark="ask")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.50", "1.50"),
        (" 3 ", "3"),
        ("+3", "3"),
        (".5", "0.5"),
        ("5.", "5"),
        ("1.2E-3", "0.0012"),
        ("1 234.5", "1234.5"),
        ("1\u00a0234", "1234"),
        ("1,234,567.8", "1234567.8"),
        ("10,000", "10000"),
        ("1'234", "1234"),
        (7, "7"),
        (0.1, "0.1"),
        (np.float64(0.1), "0.1"),
        (np.int64(4), "4"),
        (Decimal("2.30"), "2.30"),
    ],
)
def test_numbers_keep_their_digits(text, value):
    found = read_assay_value(text)
    assert found.censor == NONE
    assert found.value == Decimal(value)
    assert found.raw_text == str(text)


def test_trailing_zeros_are_kept_as_written():
    assert str(read_assay_value("1.500").value) == "1.500"


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1,5", "1.5"),
        ("1.234,5", "1234.5"),
        ("10,000", "10.000"),
        ("0,05", "0.05"),
        ("12.345", "12345"),
        ("1 234,5", "1234.5"),
    ],
)
def test_decimal_comma(text, value):
    assert read_assay_value(text, rules=COMMA).value == Decimal(value)


@pytest.mark.parametrize("text", ["1.5", "0.005", "1,234,567"])
def test_a_dot_that_parts_no_thousands_is_not_read_in_a_comma_file(text):
    assert read_assay_value(text, rules=COMMA).censor == REVIEW


@pytest.mark.parametrize("text", ["1,5", "0,500", "0,01", "1.234,5", "1 2", "12,34,567"])
def test_a_comma_that_parts_no_thousands_is_not_read_in_a_dot_file(text):
    found = read_assay_value(text)
    assert (found.censor, found.value) == (REVIEW, None)


def test_thousands_parts_are_said():
    assert read_assay_value("10,000").notes == ("read as parted into thousands",)


@pytest.mark.parametrize(("text", "value"), [("1,5", "1.5"), ("0.500", "0.5"), ("1.234.567", "1234567"), ("7", "7")])
def test_an_unknown_mark_is_read_where_there_is_no_doubt(text, value):
    assert read_assay_value(text, rules=ASK).value == Decimal(value)


@pytest.mark.parametrize("text", ["1,234", "12.345"])
def test_an_unknown_mark_in_doubt_is_for_review(text):
    assert read_assay_value(text, rules=ASK).censor == REVIEW


def test_mark_of_a_file_is_proposed_from_certain_results():
    assert propose_decimal_mark(["10", "<0,05", "1,234"]) == ","
    assert propose_decimal_mark(["1.5", "1,234"]) == "."
    assert propose_decimal_mark(["1,234", "10"]) == "ask"
    assert propose_decimal_mark(["1,5", "1.5"]) == "ask"
    assert propose_decimal_mark([]) == "ask"


def test_below_and_above_carry_their_own_limits():
    below = read_assay_value("<0.01", lower_limit=0.005, upper_limit=100)
    assert (below.censor, below.value, below.lower_limit) == (LESS, None, Decimal("0.01"))
    above = read_assay_value(">10", lower_limit=0.005, upper_limit=100)
    assert (above.censor, above.value, above.upper_limit) == (MORE, None, Decimal("10"))
    assert "over range" in above.notes[0]
    assert below.usable
    assert above.usable


@pytest.mark.parametrize("text", ["<=0.01", "≤ 0.01", "\uff1c0.01", "<0,01"])
def test_other_ways_to_write_below(text):
    rules = COMMA if "," in text else ReadingRules()
    found = read_assay_value(text, rules=rules)
    assert (found.censor, found.lower_limit) == (LESS, Decimal("0.01"))


@pytest.mark.parametrize("text", ["<0", "<-0.01", ">0"])
def test_limits_that_cannot_be_are_for_review(text):
    assert read_assay_value(text).censor == REVIEW


@pytest.mark.parametrize(
    ("text", "censor"),
    [
        ("N.A.", NOT_ANALYSED),
        ("n/a", NOT_ANALYSED),
        ("", NOT_ANALYSED),
        (None, NOT_ANALYSED),
        (float("nan"), NOT_ANALYSED),
        ("IS", INSUFFICIENT),
        ("I.S.", INSUFFICIENT),
        ("LNR", NOT_RECEIVED),
        ("L.N.R.", NOT_RECEIVED),
        ("not  received", NOT_RECEIVED),
        ("ND", NOT_DETECTED),
    ],
)
def test_words_are_no_numbers(text, censor):
    found = read_assay_value(text)
    assert (found.censor, found.value) == (censor, None)
    assert not found.usable


def test_not_detected_takes_the_limit_of_the_column():
    found = read_assay_value("ND", lower_limit="0.005")
    assert (found.censor, found.lower_limit) == (LESS, Decimal("0.005"))


def test_words_of_a_laboratory_are_added_in_its_rules():
    rules = ReadingRules(words={**WORDS, "SNR": NOT_RECEIVED})
    assert read_assay_value("snr", rules=rules).censor == NOT_RECEIVED
    with pytest.raises(ImpossibleValue, match="SNR"):
        ReadingRules(words={"SNR": "gone"})


def test_a_negative_number_is_asked_about():
    assert read_assay_value("-3").censor == REVIEW
    as_number = read_assay_value("-3", rules=ReadingRules(negative="number"))
    assert (as_number.censor, as_number.value) == (NONE, Decimal("-3"))
    as_limit = read_assay_value("\u22123", lower_limit=1, rules=ReadingRules(negative="limit"))
    assert (as_limit.censor, as_limit.lower_limit) == (LESS, Decimal("3"))
    assert as_limit.notes


@pytest.mark.parametrize("negative", ["ask", "limit", "number"])
@pytest.mark.parametrize("text", ["-99", "-999", "-9999", "-999.00"])
def test_sentinels_never_count(text, negative):
    found = read_assay_value(text, rules=ReadingRules(negative=negative))
    assert (found.censor, found.value) == (NOT_ANALYSED, None)


def test_a_sentinel_that_is_the_limit_is_for_review():
    assert read_assay_value("-99", lower_limit=99).censor == REVIEW


def test_zero_is_kept_and_warned_of():
    found = read_assay_value("0.00")
    assert (found.censor, found.value) == (NONE, Decimal("0"))
    assert "zero" in found.notes[0]


def test_values_beyond_their_limits_raise_the_unit_alarm():
    assert "check the unit" in read_assay_value("5000", lower_limit="0.01", upper_limit="100").notes[0]
    assert "check the unit" in read_assay_value("0.0005", lower_limit="0.01").notes[0]
    assert read_assay_value("0.01", lower_limit="0.01", upper_limit="100").notes == ()
    assert "check the unit" in read_assay_value("<200", upper_limit="100").notes[0]
    assert "check the unit" in read_assay_value(">0.001", lower_limit="0.01").notes[0]


@pytest.mark.parametrize(
    "text", ["0.1-0.5", "1 to 3", "12 ppm", "5*", "=1+1", "~3", "NaN", "1e999", "trace", "١٢", ".", True]
)
def test_what_is_not_certain_keeps_its_text_only(text):
    found = read_assay_value(text)
    assert (found.censor, found.value, found.raw_text) == (REVIEW, None, str(text))
    assert found.notes


@pytest.mark.parametrize(
    "limits", [{"lower_limit": 0}, {"upper_limit": "x"}, {"lower_limit": 5, "upper_limit": 5}, {"lower_limit": True}]
)
def test_limits_of_the_column_must_be_limits(limits):
    with pytest.raises(ImpossibleValue):
        read_assay_value("1", **limits)


def test_a_column_is_its_results_in_order():
    texts = ["0.5", "<0.01", None, "0.5", 1, True, 0.0, -0.0, "N.A."]
    column = read_assay_column(texts, lower_limit="0.01")
    assert len(column) == 9
    for i, text in enumerate(texts):
        assert column[i] == read_assay_value(text, lower_limit="0.01")
    assert np.isnan(column.values[1])
    assert column.values[[0, 3, 4]].tolist() == [0.5, 0.5, 1.0]
    assert column.censor[1] == LESS
    assert column.lower_limit.tolist() == [0.01] * 9
    assert np.isnan(column.upper_limit).all()
    assert column.noted == (2, 5, 6, 7)


def test_a_column_without_rows_is_empty():
    column = read_assay_column([])
    assert len(column) == 0
    assert column.values.shape == (0,)
