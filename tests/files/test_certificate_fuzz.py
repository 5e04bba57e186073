"""Whatever bytes come, a certificate is read, asked about or refused in words; nothing else happens, and soon."""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))
from certificate_texts import LONG, SETTLED, WIDE, workbook

from trayside.errors import LoadRefused
from trayside.files.certificate_reader import open_file
from trayside.files.certificate_sheet import LARGEST_FILE
from trayside.model.assay import CENSORS

ROWS = [["Sample", "Au ppm", "Cu %"], ["K1", 1.5, "<1"], ["K2", "N.A.", 2]]
ODD = ["NaN", "inf", "1e309", "-1e400", "=1+1", "#REF!", "\0", '"', ";",
       "\t", "<", ">", "-", "--5", "1,2,3", "٣", "\u2028", "x" * 3000]  # fmt: skip


def whole_way(raw: bytes) -> str:
    """What became of it: 'read', 'asked' or the words of the refusal."""
    done, refusal = None, None
    try:
        opened = open_file(raw, source="fuzz")
        proposal = opened.propose(SETTLED | {"decimal_mark": ".", "negative": "limit"})
        if not proposal.questions:
            done = opened.read(proposal)
    except LoadRefused as refused:
        refusal = refused
    if refusal is not None:
        assert refusal.faults
        assert all(fault.problem and fault.remedy for fault in refusal.faults)
        return str(refusal)
    if done is None:
        assert all(one.asks for one in proposal.questions)
        return "asked"
    assert set(done.results["censor"]) <= set(CENSORS)
    assert done.results["value"].drop_nulls().is_finite().all()
    assert done.lines["number"].null_count() == 0
    return "read"


@given(st.binary(max_size=400))
@settings(max_examples=150, deadline=None)
def test_any_bytes(raw):
    whole_way(raw)


@given(st.sampled_from([WIDE, LONG]), st.integers(0, 700), st.sampled_from(ODD))
@settings(max_examples=150, deadline=None)
def test_odd_text_anywhere_in_a_certificate(text, place, odd):
    whole_way((text[:place] + odd + text[place:]).encode("utf-8", "surrogatepass"))


@given(st.sampled_from([WIDE, LONG]), st.integers(0, 700))
@settings(max_examples=80, deadline=None)
def test_a_file_that_was_cut_off_anywhere(text, length):
    whole_way(text.encode()[:length])


def test_a_damaged_workbook():
    raw, chance = workbook(ROWS), random.Random(4)
    assert whole_way(raw) == "read"
    for _ in range(40):
        spoiled = bytearray(raw[: chance.randrange(20, len(raw))] if chance.random() < 0.4 else raw)
        for _ in range(chance.randrange(1, 12)):
            spoiled[chance.randrange(4, len(spoiled))] = chance.randrange(256)
        whole_way(bytes(spoiled))


@pytest.mark.parametrize("odd", ["1e309", "NaN", "inf", "-1e400", "1e-400"])
def test_a_number_no_result_can_be_is_left_for_review(odd):
    opened = open_file(f"Sample,Au ppm\nK1,{odd}\nK2,1\n".encode(), source="x")
    done = opened.read(opened.propose(SETTLED | {"negative": "number"}))
    assert done.results["censor"].to_list() == ["review", "none"]
    assert done.results["value"].to_list() == [None, 1.0]


def test_a_wrong_delimiter_is_refused_or_asked_and_not_read_as_something_else():
    assert whole_way(b"Sample:Au ppm:Cu ppm\nK1:1:2\n") != "read"


def test_two_hundred_megabytes_are_refused_at_once():
    raw = b"Sample,Au ppm\n" + b"K1,1\n" * (200 * 2**20 // 5)
    begun = time.perf_counter()
    assert f"more than {LARGEST_FILE // 2**20} MB" in str(_faults(raw))
    assert time.perf_counter() - begun < 10


def _faults(raw: bytes) -> list[str]:
    with pytest.raises(LoadRefused) as refused:
        open_file(raw, source="large.csv")
    return [fault.problem for fault in refused.value.faults]


def test_one_line_much_longer_than_the_others_costs_no_memory():
    raw = b"Sample,Au ppm\n" + b"K1,1\n" * 100_000 + b"," * 1_900 + b"\n"
    assert "one line" in str(_faults(raw)).lower() or "table of" in str(_faults(raw))
    assert "falls into" in str(_faults(b"Sample,Au ppm\nK1" + b"," * 5_000 + b"\n"))
