"""The rules: defaults hold together, bad values are refused with the path to them."""

from __future__ import annotations

import tomllib

import pytest
from pydantic import ValidationError

from trayside.model.rules import Rules


def refusal(text: str) -> list[str]:
    """The paths that are refused in this rules.toml."""
    with pytest.raises(ValidationError) as caught:
        Rules.model_validate(tomllib.loads(text))
    return [".".join(str(part) for part in error["loc"]) for error in caught.value.errors()]


def test_an_empty_file_gives_the_defaults():
    assert Rules.model_validate({}) == Rules()


def test_grade_classes_rank_from_barren_upwards():
    rules = Rules()
    assert [rules.grade_rank(name) for name in ("barren", "low", "visible")] == [0, 1, 4]
    with pytest.raises(KeyError):
        rules.grade_rank("bonanza")


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("[sampling]\nnominal_m = -1", "sampling.nominal_m"),
        ("[sampling]\nnominal_m = nan", "sampling.nominal_m"),
        ("[sampling]\nmaximum_m = inf", "sampling.maximum_m"),
        ('[sampling]\ngrid = "1 mm"', "sampling.grid"),
        ("[sampling]\nnominel_m = 1", "sampling.nominel_m"),
        ("[sampling]\nminimum_m = 1.2", "sampling"),
        ('[depth]\nloss_place = "somewhere"', "depth.loss_place"),
        ("[depth]\nrod_lengths_m = [3.0, -1.5]", "depth.rod_lengths_m.1"),
        ("[depth]\nlow_recovery = 85", "depth.low_recovery"),
        ("[trays]\nblock_m = 3", "trays.block_m"),
        ("[controls]\nstandard_every = 3", "controls.standard_every"),
        ("[controls]\nstandard_every = 5\nblank_every = 5\nduplicate_every = 5", "controls"),
        ('[controls.duplicate_types]\n"half/half" = 0.4', "controls"),
        ('[controls.duplicate_types]\n"third/third" = 1.0', "controls.duplicate_types.third/third.[key]"),
        ('[controls.duplicate_types]\n"half/half" = 1.5', "controls.duplicate_types.half/half"),
        ("[controls]\nseed = -1", "controls.seed"),
        ("[controls]\nrack_size = 4", "controls.rack_size"),
        ("[cut]\nkerf_mm = 0", "cut.kerf_mm"),
        ('[cut]\nbag_side = "top"', "cut.bag_side"),
        ('[cut.method_by_condition]\nintakt = "saw"', "cut.method_by_condition.intakt.[key]"),
        ("[mass]\ncoverage = 0", "mass.coverage"),
        ("[mass]\ntier_kg = -1", "mass.tier_kg"),
        ("grade_classes = []", "grade_classes"),
        ('[[grade_classes]]\nname = ""\nexpected_g_t = 1', "grade_classes.0.name"),
        ('[[grade_classes]]\nname = "ore"\nexpected_g_t = -1', "grade_classes.0.expected_g_t"),
        ('[paper]\nsize = "a3"', "paper.size"),
        ('yard = ""', "yard"),
        ("[kilns]\nheat = 2", "kilns"),
    ],
)
def test_a_bad_value_is_refused_with_its_path(text, path):
    assert refusal(text) == [path]


def test_every_bad_value_is_named_at_once():
    assert refusal("[depth]\nlow_recovery = 2\n[mass]\ncoverage = -1") == ["depth.low_recovery", "mass.coverage"]


def test_rates_at_the_limit_and_shares_that_add_up_are_taken():
    text = "[controls]\nstandard_every = 10\nblank_every = 10\nduplicate_every = 5\n"
    text += '[controls.duplicate_types]\n"half/half" = 0.3\n"half/quarter" = 0.1\n"quarter/quarter" = 0.6\n'
    rules = Rules.model_validate(tomllib.loads(text))
    assert sum(rules.controls.duplicate_types.values()) == pytest.approx(1.0)
