"""Result texts as public releases write them, read for what their documents say they mean."""

from decimal import Decimal

import pytest

from trayside.core.assay_value import LESS, MORE, REVIEW, ReadingRules, read_assay_value


@pytest.mark.parametrize(("text", "limit"), [("-10", "10"), ("-137", "137")])
def test_negative_limits_that_differ_from_sample_to_sample(text, limit):
    # USGS OFR 97-492 (NURE), FAQ, pubs.usgs.gov/of/1997/492/faq_nure.htm (seen): zinc from -10 to -137, each the
    # negative of its own limit.
    found = read_assay_value(text, rules=ReadingRules(negative="limit"))
    assert (found.censor, found.value, found.lower_limit) == (LESS, None, Decimal(limit))


def test_negative_of_the_stated_limit():
    # National reporting template, Victoria's test file (seen): below limit is the negative of the limit.
    found = read_assay_value("-0.005", lower_limit="0.005")
    assert (found.censor, found.value, found.lower_limit) == (LESS, None, Decimal("0.005"))


@pytest.mark.parametrize(
    ("text", "censor", "lower", "upper"),
    [("<5", LESS, "5", None), (">100", MORE, None, "100"), ("< 5", LESS, "5", None)],
)
def test_signs_before_the_limit(text, censor, lower, upper):
    # South Australia's statewide chemistry export (GSSA, seen): "<" below, ">" above; sheets of laboratories write
    # "< 5" with a space (public reader code, seen).
    found = read_assay_value(text)
    assert found.censor == censor
    assert found.value is None
    assert (found.lower_limit, found.upper_limit) == (
        None if lower is None else Decimal(lower),
        None if upper is None else Decimal(upper),
    )


@pytest.mark.parametrize("text", ["-", "1-10"])
def test_a_dash_that_means_two_things_is_for_review(text):
    # The same export (seen): "-" stands for below the limit or for a range 1-10. Nobody can tell from the cell.
    found = read_assay_value(text)
    assert (found.censor, found.value) == (REVIEW, None)


@pytest.mark.parametrize("text", ["5.000N", "1.000L", ".0000B", "G"])
def test_letters_behind_the_number_are_for_review(text):
    # USGS OFR 81-197, mrdata.usgs.gov (seen): suffix letters N, L, B, G. Read only where a mapping says so.
    found = read_assay_value(text)
    assert (found.censor, found.value, found.raw_text) == (REVIEW, None, text)
