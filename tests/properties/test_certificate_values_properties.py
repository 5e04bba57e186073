"""The quick way through plain numbers says what the slow one says, for every text, limit and decimal mark."""

from __future__ import annotations

import polars
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.assay_value import ReadingRules, read_assay_value
from trayside.files.certificate_values import preferred, read_results
from trayside.model.assay import Analyte

NUMBERS = st.one_of(
    st.integers(0, 10**7).map(str),
    st.decimals(0, 10**5, places=4).map(str),
    st.decimals(0, 100, places=2).map(lambda number: str(number).replace(".", ",")),
    st.sampled_from(["0", "0.0", "1.", ".5", "007", "1e5", "1E-3", "1e309", "999999999999999999", "0.0000000000000001"]),
)
TEXTS = st.one_of(
    NUMBERS,
    NUMBERS.map("<{}".format),
    NUMBERS.map("> {}".format),
    NUMBERS.map("-{}".format),
    st.sampled_from(["", " ", "N.A.", "IS", "LNR", "1-5", "abc", "1 234", "1,234", "1.234,5", "<", "<DL", "\u00a05"]),
    st.text(max_size=6),
)
LIMITS = st.sampled_from([(None, None), (0.005, None), (0.01, 100.0), (5.0, 10000.0), (None, 10.0)])


MARKS, NEGATIVE = st.sampled_from([".", ",", "ask"]), st.sampled_from(["ask", "limit", "number"])
FLAGS = st.sampled_from(["none", "lt", "gt", "not_analysed", "review"])


@given(st.lists(TEXTS, min_size=1, max_size=30), LIMITS, MARKS, NEGATIVE)
@settings(max_examples=300, deadline=None)
def test_columns_at_once_say_what_one_by_one_says(texts, limits, mark, negative):
    low, high = limits
    rules = ReadingRules(decimal_mark=mark, negative=negative)
    cells = polars.DataFrame({"place": range(1, len(texts) + 1), "column": [1] * len(texts), "raw_text": texts},
                             schema={"place": polars.Int64, "column": polars.Int64, "raw_text": polars.String})  # fmt: skip
    results, notes = read_results(cells, analytes=[Analyte(1, "Au", "g/t", "", low, high)], rules=rules)
    noted = {row["place"]: row["note"] for row in notes.iter_rows(named=True)}
    assert results.height == len(texts)
    for row, text in zip(results.iter_rows(named=True), texts, strict=True):
        one = read_assay_value(text, lower_limit=low, upper_limit=high, rules=rules)
        assert row["raw_text"] == text
        assert row["censor"] == one.censor
        stated = {"lt": one.lower_limit, "gt": one.upper_limit}.get(one.censor, one.value)
        assert row["value"] == (None if stated is None else float(stated))
        own_low = None if one.lower_limit is None else float(one.lower_limit)
        assert (row["lower_limit"] if row["lower_limit"] is not None else low) == own_low
        assert noted.get(row["place"], "") == "; ".join(one.notes)


@given(st.lists(st.tuples(FLAGS, FLAGS, FLAGS), min_size=1, max_size=8))
@settings(max_examples=150, deadline=None)
def test_each_line_and_element_has_one_preferred_result_the_first_that_says_an_amount(lines):
    analytes = [Analyte(1, "Au", "g/t", "FA"), Analyte(2, "Cu", "g/t", "ICP"), Analyte(3, "Au", "g/t", "GRAV")]
    rows = [(place, column, censor) for place, line in enumerate(lines, 1) for column, censor in enumerate(line, 1)]
    frame = polars.DataFrame(rows, schema=["place", "column", "censor"], orient="row")
    marked = preferred(frame, analytes=analytes)
    says = {"none": 0, "lt": 0, "gt": 1}
    for place, line in enumerate(lines, 1):
        held = {row["column"]: row["preferred"] for row in marked.filter(polars.col("place") == place).iter_rows(named=True)}
        assert held[2]
        assert held[1] != held[3]
        assert held[1] == (says.get(line[0], 2) <= says.get(line[2], 2))
