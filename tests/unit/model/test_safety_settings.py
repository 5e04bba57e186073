"""The section [safety]: defaults hold together with the calculations, bad values are refused with their path."""

from __future__ import annotations

import tomllib
import typing

import pytest
from pydantic import ValidationError

from trayside.core.hearing_protectors import METHODS
from trayside.core.noise_tables import NOISE_LIMITS
from trayside.core.silica import SHIFT_WAYS, SILICA_LIMITS
from trayside.core.vibration import VIBRATION_LIMITS
from trayside.model.rules import Rules
from trayside.model.safety_settings import (
    NoiseJurisdiction,
    ProtectorMethod,
    SafetySettings,
    SilicaJurisdiction,
    VibrationJurisdiction,
)


@pytest.mark.parametrize(
    ("names", "limits"),
    [
        (NoiseJurisdiction, NOISE_LIMITS),
        (SilicaJurisdiction, SILICA_LIMITS),
        (VibrationJurisdiction, VIBRATION_LIMITS),
    ],
)
def test_the_jurisdictions_to_choose_from_are_those_with_a_limit(names, limits):
    assert set(typing.get_args(names)) == {limit.jurisdiction for limit in limits}


def test_methods_and_ways_are_those_of_the_calculations():
    assert set(typing.get_args(ProtectorMethod)) == set(METHODS)
    assert set(typing.get_args(SafetySettings.model_fields["long_shift"].annotation)) == set(SHIFT_WAYS)


def test_every_typical_value_says_where_it_comes_from():
    settings = SafetySettings()
    shipped = (*settings.typical_noise, *settings.typical_silica, *settings.typical_vibration, *settings.typical_lifts)
    assert shipped
    assert all(len(one.source) > 10 for one in shipped)


OWN = '[[safety.own_limits]]\nquantity = "silica"\nname = "limit"\njurisdiction = "here"\nvalue = 1\ndocument = "d"\n'


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("[safety]\nnoise_rules = []", "safety.noise_rules"),
        ('[safety]\nnoise_rules = ["osha", "osha"]', "safety.noise_rules"),
        ('[safety]\nsilica_jurisdictions = ["Atlantis"]', "safety.silica_jurisdictions.0"),
        ('[safety]\nprotector_method = "guess"', "safety.protector_method"),
        ("[safety]\nshift_h = 24", "safety.shift_h"),
        ("[safety]\ntray_empty_kg = -1", "safety.tray_empty_kg"),
        ('[[safety.typical_noise]]\nwhat = "saw"\nlevel_dba = 200', "safety.typical_noise.0.level_dba"),
        ('[[safety.typical_lifts]]\nwhat = "a"\nreach_cm = 30\nstart_height_cm = 20', "safety.typical_lifts.0.end_height_cm"),
        (OWN.replace("silica", "heat") + 'date = "2030"', "safety.own_limits.0.quantity"),
        (OWN.replace("value = 1", "value = 0") + 'date = "2030"', "safety.own_limits.0.value"),
        (OWN, "safety.own_limits.0.date"),
    ],
)
def test_a_bad_value_is_refused_with_its_path(text, path):
    with pytest.raises(ValidationError) as caught:
        Rules.model_validate(tomllib.loads(text))
    assert [".".join(str(part) for part in error["loc"]) for error in caught.value.errors()] == [path]


def test_two_typical_values_of_one_name_are_refused():
    text = '[[safety.typical_noise]]\nwhat = "Saw"\nlevel_dba = 90\n[[safety.typical_noise]]\nwhat = "saw"\nlevel_dba = 95\n'
    with pytest.raises(ValidationError, match="two typical values have one name"):
        Rules.model_validate(tomllib.loads(text))
