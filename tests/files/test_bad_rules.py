"""rules.toml: every fault with its line, its setting and a remedy; never a traceback."""

from __future__ import annotations

import pytest

from trayside.files.rules_toml import rules_from_bytes, rules_from_text
from trayside.model.rules import Rules


@pytest.mark.parametrize(
    ("text", "row", "column", "word"),
    [
        ("yard = ", 1, None, "not TOML"),
        ('yard = "A"\n[sampling\n', 2, None, "not TOML"),
        ('yard = "A"\nyard = "B"\n', 2, None, "not TOML"),
        ('yard = "A"\n\n[sampling]\nnominal = 1.0\n', 4, "sampling.nominal", "no such setting"),
        ('[samplng]\nnominal_m = 1.0\n', 1, "samplng", "no such setting"),
        ("[sampling]\nnominal_m = 0.1\n", 1, "sampling", "must hold"),
        ("[sampling]\n\nnominal_m = -1\n", 3, "sampling.nominal_m", "greater than 0"),
        ('[sampling]\nnominal_m = "wide"\n', 2, "sampling.nominal_m", "valid number"),
        ("[cut]\nkerf_mm = nan\n", 2, "cut.kerf_mm", "finite"),
        ("[cut]\nkerf_mm = inf\n", 2, "cut.kerf_mm", "finite"),
        ("cut.kerf_mm = -2\n", 1, "cut.kerf_mm", "greater than 0"),
        ('[cut]\nbag_side = "up"\n', 2, "cut.bag_side", "'right' or 'left'"),
        ('yard = ""\n', 1, "yard", "at least 1 character"),
        ('[sampling]\nsample_classes = ["rich"]\n', 2, "sampling.sample_classes", "no such grade class"),
        (
            '[[grade_classes]]\nname = "low"\nexpected_g_t = 1\n[[grade_classes]]\nname = "low"\nexpected_g_t = 2\n',
            1, "grade_classes", "named twice",
        ),
        ("cut = 5\n", 1, "cut", "valid dictionary"),
    ],
)  # fmt: skip
def test_one_fault_with_its_line(text, row, column, word):
    rules, faults = rules_from_text(text)
    assert rules is None
    assert [(fault.table, fault.row, fault.column) for fault in faults] == [("rules.toml", row, column)]
    assert word in faults[0].problem
    assert faults[0].remedy


def test_a_setting_nearly_right_is_named():
    _, faults = rules_from_text("[sampling]\nnominal = 1.0\n")
    assert "Did you mean nominal_m?" in faults[0].remedy


def test_a_setting_of_a_grade_class_nearly_right_is_named():
    _, faults = rules_from_text('[[grade_classes]]\nname = "low"\nexpected_gt = 1\nexpected_g_t = 1\n')
    assert "Did you mean expected_g_t?" in faults[0].remedy


def test_all_faults_are_listed():
    _, faults = rules_from_text("[cut]\nkerf_mm = -1\nsaw = 3\n[mass]\ncoverage = 0\n")
    assert sorted(fault.column for fault in faults) == ["cut.kerf_mm", "cut.saw", "mass.coverage"]


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        ('yard = "Peña"'.encode("latin-1"), "not UTF-8"),
        ('yard = "A"'.encode("utf-16"), "not UTF-8"),
        (b"#" * 2**21, "larger than 1 MB"),
        (b"a = " + b"[" * 100_000, "nested"),
        (b"\0", "not TOML"),
    ],
)
def test_bytes_that_are_no_rules(raw, word):
    rules, _, faults = rules_from_bytes(raw)
    assert rules is None
    assert word in faults[0].problem


def test_a_byte_order_mark_does_no_harm():
    rules, text, faults = rules_from_bytes(b'\xef\xbb\xbfyard = "A"\n')
    assert (rules.yard, text, faults) == ("A", 'yard = "A"\n', [])


def test_an_empty_text_gives_the_defaults():
    assert rules_from_text("") == (Rules(), [])


def test_sampled_classes_nobody_wrote_are_no_fault():
    rules, faults = rules_from_text('[[grade_classes]]\nname = "ore"\nexpected_g_t = 1\n')
    assert faults == []
    assert [grade_class.name for grade_class in rules.grade_classes] == ["ore"]
