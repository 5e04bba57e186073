"""The section `[safety]` of the rules: whose limits are shown, how a protector and a long shift are counted, typical values.

Limits of law and guidance are kept with the calculations, each with its document and date. A yard chooses whose limits
apply to it, and may add its own. Typical values are no measurements: each says where it comes from and may be edited.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator

NoiseRuleName = Literal["osha", "niosh", "lex8"]
NoiseJurisdiction = Literal["United States", "European Union, Great Britain", "Australia"]
SilicaJurisdiction = Literal[
    "United States, general industry", "United States, construction", "United States, mines", "Australia",
    "European Union", "Great Britain", "NIOSH", "ACGIH",
]  # fmt: skip
VibrationJurisdiction = Literal["European Union"]
ProtectorMethod = Literal["osha_app_b", "osha_half", "niosh", "csa"]
NO_SOURCE = "common practice, no source"


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class TypicalNoise(_Part):
    """A level at the ear to start from where nothing was measured."""

    what: str = Field(min_length=1, max_length=80)
    level_dba: float = Field(ge=0, le=194)
    source: str = Field(NO_SOURCE, min_length=1, max_length=200)


class TypicalSilica(_Part):
    """Respirable crystalline silica in the air breathed, to start from where nothing was measured."""

    what: str = Field(min_length=1, max_length=80)
    concentration_mg_m3: float = Field(ge=0, le=1000)
    source: str = Field(NO_SOURCE, min_length=1, max_length=200)


class TypicalVibration(_Part):
    """Vibration total value at the hand, to start from where nothing was measured."""

    what: str = Field(min_length=1, max_length=80)
    acceleration_m_s2: float = Field(ge=0, le=200)
    source: str = Field(NO_SOURCE, min_length=1, max_length=200)


class TypicalLift(_Part):
    """Reach and heights of a lift as it is usually done here; `load` says whose predicted mass is offered with it."""

    what: str = Field(min_length=1, max_length=80)
    load: Literal["tray", "sack"] = "tray"
    reach_cm: float = Field(ge=0, le=200)
    start_height_cm: float = Field(ge=0, le=300)
    end_height_cm: float = Field(ge=0, le=300)
    source: str = Field(NO_SOURCE, min_length=1, max_length=200)


class OwnLimit(_Part):
    """A limit or action value that this yard holds its shifts against as well: a newer law, a permit, its own rule."""

    quantity: Literal["noise osha", "noise niosh", "noise lex8", "silica", "vibration"]
    """Noise in dBA as mean over 8 h by that rule; silica in mg/m3 as mean over 8 h; vibration as A(8) in m/s2."""
    name: str = Field(min_length=1, max_length=60)
    """A name with the word action makes it an action value; any other is a limit."""
    jurisdiction: str = Field(min_length=1, max_length=80)
    value: float = Field(gt=0, le=194)
    reached: Literal["above", "at or above"] = "above"
    binding: bool = True
    """false for a recommendation."""
    document: str = Field(min_length=1, max_length=200)
    date: str = Field(min_length=1, max_length=60)


class SafetySettings(_Part):
    """What the safety page of a person and shift is worked out with. Limits of law carry their document and date there."""

    noise_rules: tuple[NoiseRuleName, ...] = ("osha", "niosh", "lex8")
    """Rules shown side by side: OSHA (5 dB), NIOSH (3 dB), daily exposure level L_EX,8h (3 dB)."""
    noise_jurisdictions: tuple[NoiseJurisdiction, ...] = (
        "United States", "European Union, Great Britain", "Australia",
    )  # fmt: skip
    """Whose noise limits apply here; delete those that do not. United States means 29 CFR 1910.95, not the rule for mines."""
    silica_jurisdictions: tuple[SilicaJurisdiction, ...] = (
        "United States, general industry", "United States, construction", "United States, mines", "Australia",
        "European Union", "Great Britain", "NIOSH", "ACGIH",
    )  # fmt: skip
    """Whose silica limits apply here; delete those that do not. Limits change: check each before relying on it."""
    vibration_jurisdictions: tuple[VibrationJurisdiction, ...] = ("European Union",)
    own_limits: tuple[OwnLimit, ...] = ()
    shift_h: float = Field(8.0, gt=0, lt=24)
    """Length of a usual shift here, proposed for a new one."""
    long_shift: Literal["none", "brief_scala"] = "none"
    """How silica limits are brought down for a longer shift. none: OSHA does not reduce them (letter of 10 November 1999, as
    quoted); brief_scala: (8 / h) ((24 - h) / 16), three pages agree (seen). A regulator's own table comes first."""
    protector_method: ProtectorMethod = "osha_half"
    """How the printed rating of a hearing protector is counted down. osha_app_b: 29 CFR 1910.95 Appendix B (seen);
    osha_half: OSHA enforcement guidance, half of it (seen); niosh: NIOSH 98-126, by kind (second-hand); csa: CSA Z94.2-14, by
    kind (second-hand)."""
    protector_target_dba: float = Field(90.0, ge=50, le=120)
    """Level to be reached behind the protector: 90, or 85 after a change of hearing (29 CFR 1910.95(j), seen)."""
    typical_noise: tuple[TypicalNoise, ...] = (
        TypicalNoise(what="wet bench core saw, cutting", level_dba=98.0,
                     source="no published value for a core saw was found; 90 to 105 is common practice, no source: measure"),
        TypicalNoise(what="petrol stationary wet saw", level_dba=92.0,
                     source="CPWR Construction Solutions no. 53 (trade page, seen): more than 92"),
        TypicalNoise(what="hand-held electric masonry saw", level_dba=106.9,
                     source="Barbosa & Bertoli 2017 (abstract seen): highest at the ear"),
        TypicalNoise(what="two metres from a hand-held saw", level_dba=99.1, source="Barbosa & Bertoli 2017 (abstract seen)"),
        TypicalNoise(what="logging, marking, packing away from the saw", level_dba=72.0),
    )  # fmt: skip
    typical_silica: tuple[TypicalSilica, ...] = (
        TypicalSilica(what="core cutting and sorting, worst seen", concentration_mg_m3=0.055,
                      source="Arrandale, Kalenge & Demers 2017 (abstract seen): highest of 16 personal and 9 area samples in one"
                      " core facility"),
    )  # fmt: skip
    typical_vibration: tuple[TypicalVibration, ...] = ()
    """None is shipped: no figure with a source was found. Use the maker's declared value, or measure."""
    typical_lifts: tuple[TypicalLift, ...] = (
        TypicalLift(what="tray from the floor to the saw table", reach_cm=40, start_height_cm=20, end_height_cm=100),
        TypicalLift(what="tray from table to trolley", reach_cm=30, start_height_cm=75, end_height_cm=100),
        TypicalLift(what="sack from the floor to a pallet", load="sack", reach_cm=35, start_height_cm=30, end_height_cm=60),
    )
    tray_empty_kg: float = Field(3.0, ge=0, le=50)
    """Mass of an empty tray with its lid."""
    tray_height_cm: float = Field(8.0, gt=0, le=100)
    tray_handles: bool = True
    """Trays have handles or cut-outs that a hand closes round."""
    gloves: bool = True
    """Trays are carried in gloves: the grip is then less than good (NIOSH 94-110, p. 17, seen in a public copy)."""
    floor_wet: bool = True
    """The floor at the saw is wet; proposed for a new shift."""

    @field_validator("noise_rules")
    @classmethod
    def at_least_one_rule(cls, rules):
        if not rules:
            raise ValueError("at least one rule is needed")
        return rules

    @field_validator("noise_rules", "noise_jurisdictions", "silica_jurisdictions", "vibration_jurisdictions")
    @classmethod
    def each_once(cls, names):
        if len(set(names)) != len(names):
            raise ValueError("a name stands here twice")
        return names

    @field_validator("typical_noise", "typical_silica", "typical_vibration", "typical_lifts")
    @classmethod
    def named_once(cls, values):
        if len({one.what.casefold() for one in values}) != len(values):
            raise ValueError("two typical values have one name")
        return values
