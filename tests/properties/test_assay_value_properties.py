"""What must hold of any text a laboratory can write."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from trayside.core.assay_value import CENSORS, LESS, MORE, NONE, ReadingRules, read_assay_column, read_assay_value

RULES = st.sampled_from([ReadingRules(m, n) for m in (".", ",", "ask") for n in ("ask", "limit", "number")])
NUMBERS = st.decimals(min_value="0.001", max_value="99999", places=3)


@given(st.one_of(st.text(max_size=12), st.text(alphabet="0123456789.,<>- eE+ANSIR", max_size=10), st.floats()), RULES)
def test_any_text_is_read_and_kept_and_only_numbers_have_values(text, rules):
    found = read_assay_value(text, rules=rules)
    assert found.raw_text == str(text)
    assert found.censor in CENSORS
    assert (found.value is not None) == (found.censor == NONE)
    if found.censor == LESS:
        assert found.lower_limit > 0
    if found.censor == MORE:
        assert found.upper_limit > 0


@given(NUMBERS)
def test_a_plain_number_comes_back_as_it_was(number):
    assert read_assay_value(str(number)).value == number
    assert read_assay_value(str(number).replace(".", ","), rules=ReadingRules(",")).value == number
    below = read_assay_value(f"< {number}")
    assert (below.value, below.lower_limit) == (None, number)


@given(NUMBERS)
def test_thousands_parts_change_nothing(number):
    assert read_assay_value(f"{number:,}").value == Decimal(number)


@given(st.lists(st.text(alphabet="0123456789.,<>-NA ", max_size=6), max_size=30), RULES)
def test_a_column_is_its_cells(texts, rules):
    column = read_assay_column(texts, lower_limit="0.5", rules=rules)
    assert [column[i] for i in range(len(texts))] == [
        read_assay_value(text, lower_limit="0.5", rules=rules) for text in texts
    ]
