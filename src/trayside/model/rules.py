"""The yard's rules as read from `rules.toml`: every setting, its unit in its name, its default and where that comes from.

Defaults without another note are common practice, no source: they are meant to be edited.
"""

from __future__ import annotations

import re
from math import isclose
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

Condition = Literal["intact", "blocky", "rubble", "clay"]


class Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class DepthRules(Section):
    loss_place: Literal["end_of_run", "start_of_run", "stretch"] = "end_of_run"
    """Where a loss nobody placed is put. End of run: DIN EN ISO 22475-1 as cited by Wittke (second-hand)."""
    long_core: Literal["overlap", "scale"] = "overlap"
    """Core longer than its run: IODP CSF-A (overlap) or CSF-B (scale)."""
    credit_stubs: bool = True
    """Credit core left in the hole to the run that cut it (ASTM D6032 section 5.6, seen)."""
    block_tolerance_m: float = Field(0.005, ge=0, le=1)
    rod_lengths_m: tuple[Annotated[float, Field(gt=0, le=20)], ...] = (3.0, 1.5, 3.048, 1.524)
    rod_tolerance_m: float = Field(0.15, gt=0, le=1)
    rqd_threshold_m: float = Field(0.1, gt=0, le=1)
    low_recovery: float = Field(0.85, ge=0, le=1)
    gain_tolerance_m: float = Field(0.05, ge=0, le=1)
    """A run may measure this much more core than drilled before it is a finding (tape and break ends)."""
    unplaced_loss_m: float = Field(0.3, gt=0, le=10)
    """A loss larger than this wants a place."""
    mark_every: Literal["1 m", "5 ft", "10 ft"] = "1 m"


class TrayRules(Section):
    direction: Literal["left_to_right", "boustrophedon"] = "left_to_right"
    loss_spacer: Literal["full_length", "fixed"] = "full_length"
    fixed_spacer_m: float = Field(0.1, gt=0, le=1)
    block_m: float = Field(0.0, ge=0, le=0.2)
    """Width a driller's block takes in the row; 0 when blocks stand on the partition."""
    tag_tolerance_m: float = Field(0.02, ge=0, le=1)
    overfull_tolerance_m: float = Field(0.25, ge=0, le=2)


class OrientationRules(Section):
    mismatch_deg: float = Field(15.0, gt=0, le=180)
    drift_deg: float = Field(20.0, gt=0, le=180)
    drift_over_m: float = Field(30.0, gt=0, le=1000)
    """A line that turns by more than drift_deg over at least this length is a finding."""


class DensityRules(Section):
    rock_sds: float = Field(4.0, gt=0, le=20)
    """A stick further than this many standard deviations from its rock's density is a finding."""


class SamplingRules(Section):
    nominal_m: float = Field(1.0, gt=0, le=20)
    minimum_m: float = Field(0.3, gt=0, le=20)
    maximum_m: float = Field(1.5, gt=0, le=20)
    grid: Literal["1 cm", "0.1 ft"] = "1 cm"
    round_to_m: float = Field(1.0, gt=0, le=20)
    length_cost: float = Field(1.0, ge=0, le=1000)
    """Cost of a sample twice as long as nominal; it grows with the square of the deviation. Costs have no unit: only
    their ratios matter. Bags outside the mass limits are avoided first, whatever it costs."""
    off_round_cost: float = Field(0.1, ge=0, le=1000)
    """Cost of a boundary off the multiples of round_to_m; half of it on a half multiple."""
    soft_contact_cost: float = Field(0.5, ge=0, le=1000)
    """Cost of a soft contact inside a sample."""
    shoulder_crossing_cost: float = Field(10.0, ge=0, le=1000)
    """Cost of a sample that mixes shoulder with the ground it belongs to."""
    boundary_in_loss_cost: float = Field(1.0, ge=0, le=1000)
    """Cost of a boundary inside a core loss too short to stand alone."""
    tier_cost: float = Field(1.0, ge=0, le=1000)
    """Cost of a bag twice as heavy as the price tier; it grows with the mass above the tier."""
    light_bag_cost: float = Field(1.0, ge=0, le=1000)
    """Cost of a bag without any mass; it grows with the mass missing to the lightest bag wanted."""
    isolate_loss_m: float = Field(0.3, gt=0, le=20)
    minimum_vein_m: float = Field(0.1, gt=0, le=20)
    sample_classes: tuple[str, ...] | Literal["all"] = ("low", "medium", "high", "visible")
    """Expected grade classes that are sampled; 'all' samples all core."""
    shoulder_m: float = Field(2.0, ge=0, le=100)
    merge_gap_m: float = Field(3.0, ge=0, le=100)
    shoulder_m_tolerance: float = Field(0.05, ge=0, le=10)
    low_recovery: float = Field(0.7, ge=0, le=1)

    @model_validator(mode="after")
    def lengths_in_order(self):
        if not self.minimum_m <= self.nominal_m <= self.maximum_m:
            raise ValueError("minimum_m <= nominal_m <= maximum_m must hold")
        return self


class GradeClass(Section):
    name: str = Field(min_length=1, max_length=40)
    expected_g_t: float = Field(ge=0, le=1e6)
    high: bool = False
    """Ground after which a blank must follow (visible metal, very high grade)."""


class ControlSettings(Section):
    seed: int = Field(1, ge=0)
    standard_every: int = Field(20, ge=4, le=1000)
    blank_every: int = Field(25, ge=4, le=1000)
    duplicate_every: int = Field(25, ge=4, le=1000)
    duplicate_types: dict[
        Literal["half/half", "half/quarter", "quarter/quarter"], Annotated[float, Field(ge=0, le=1)]
    ] = {"quarter/quarter": 1.0}
    """Share of each kind of field duplicate; the shares add up to one."""
    rack_size: int = Field(50, ge=5, le=500)
    blank_after_high: Literal["each run", "each sample", "never"] = "each run"
    blank_kind: Literal["coarse blank", "fine blank"] = "coarse blank"
    duplicate_follows: Literal["straight after", "later in rack"] = "straight after"
    duplicate_spread: Literal["equal over classes", "in proportion"] = "equal over classes"
    standard_in_every_rack: bool = True
    blank_in_every_rack: bool = True
    min_rack_for_controls: int = Field(2, ge=1, le=100)
    """A part rack with fewer samples than this gets no control only for the rack's sake."""
    allow_adjacent: bool = False
    allow_first_of_rack: bool = False
    low_stock: int = Field(10, ge=0, le=100_000)
    """A standard or blank with fewer insertions left than this is a finding."""

    @model_validator(mode="after")
    def shares_and_rates_add_up(self):
        if not isclose(sum(self.duplicate_types.values()), 1.0, abs_tol=1e-9):
            raise ValueError("the shares of duplicate_types must add up to 1")
        if 1 / self.standard_every + 1 / self.blank_every + 1 / self.duplicate_every > 0.4:
            raise ValueError(
                "standard_every, blank_every and duplicate_every together ask for more than 4 in 10 bags: raise one"
            )
        return self


class NumberSettings(Section):
    check_character: Literal["none", "damm", "iso7064_mod11_2", "iso7064_mod37_36", "iso7064_mod11_10"] = "none"
    longest: int = Field(10, ge=3, le=30)
    """Upper-case ids up to this length fit the smallest QR symbol at its highest error correction."""


class CutSettings(Section):
    kerf_mm: float = Field(2.5, gt=0, le=20)
    offset_mm: float = Field(3.0, ge=-20, le=20)
    """The blade runs this far beside the drawn line so that the line stays on the kept half."""
    bag_side: Literal["right", "left"] = "right"
    """Which half is bagged, looking downhole with the cut line up."""
    portion: Literal["half", "quarter", "whole"] = "half"
    whole_rocks: tuple[str, ...] = ()
    method_by_condition: dict[Condition, str] = {
        "intact": "automatic saw",
        "blocky": "manual saw",
        "rubble": "half by mass",
        "clay": "knife",
    }
    reason_by_condition: dict[Condition, str] = {
        "intact": "long sound sticks hold in the carriage",
        "blocky": "short pieces: V-cradle and push block, never freehand",
        "rubble": "cannot be sawn safely: take half by mass, all sizes and the fines",
        "clay": "water and blade would wash it away",
    }


class MassSettings(Section):
    coverage: float = Field(3.0, gt=0, le=10)
    """Half-width of the expected range in standard deviations."""
    core_diameter_sd_mm: float = Field(0.3, ge=0, le=10)
    kerf_sd_mm: float = Field(0.2, ge=0, le=10)
    offset_sd_mm: float = Field(1.0, ge=0, le=20)
    length_sd_m: float = Field(0.01, ge=0, le=1)
    rubble_sd: float = Field(0.10, ge=0, le=1)
    """Relative standard deviation added where the half is taken by mass, by hand."""
    control_tolerance: float = Field(0.10, ge=0, le=1)
    """Relative half-width of the expected range of a standard or blank."""
    tier_kg: float = Field(3.0, ge=0, le=1000)
    """The laboratory's price tier; 0 when there is none."""
    minimum_kg: float = Field(0.5, ge=0, le=1000)
    """The lightest bag the laboratory wants; 0 when it does not mind."""


class SplitStage(Section):
    """One reduction in the laboratory: crushed or milled to a top size, then this mass split off."""

    name: str = Field(min_length=1, max_length=40)
    top_size_mm: float = Field(gt=0, le=200)
    mass_g: float = Field(gt=0, le=100_000)


class SamplingErrorSettings(Section):
    """What Gy's formula and the grain count need about this ore; nothing here is measured until you measure it."""

    grain_mm: float = Field(0.2, gt=0, le=50)
    """Size of the valuable grains."""
    grain_density_t_m3: float = Field(19.3, gt=0, le=23)
    """Gold (from memory)."""
    gangue_density_t_m3: float = Field(2.65, gt=0, le=10)
    grain_grade: float = Field(1.0, gt=0, le=1)
    """Mass fraction of the valuable element in its grains: 1 for native metal."""
    shape: float = Field(0.2, gt=0, le=10)
    """0.2 for flakes, 0.5 for most natural rock (course note CM3820, seen)."""
    granulometric: float = Field(0.25, gt=0, le=1)
    """0.25 for rock crushed and not sieved (course note CM3820, seen)."""
    liberation_exponent: float = Field(1.5, gt=0, le=3)
    """Usual value for gold (AusIMM 2017 abstract, seen); calibrate it on the ore."""
    core_as_if_broken_to_mm: float = Field(10.0, gt=0, le=200)
    """Core is no broken rock: the formula is given this top size for it."""
    stages: tuple[SplitStage, ...] = (
        SplitStage(name="split of the crushed sample", top_size_mm=2.0, mass_g=250.0),
        SplitStage(name="charge from the pulp", top_size_mm=0.075, mass_g=50.0),
    )


class DispatchSettings(Section):
    """Sacks, loads, custody and the laboratory's received list."""

    sack_kg: float = Field(20.0, gt=0, le=1000)
    sack_bags: int = Field(40, ge=1, le=1000)
    """At most 40-50 bags a box, in list order (resourcesgoldtechnology.com, ore shipping, seen)."""
    sack_tare_kg: float = Field(0.1, ge=0, le=100)
    """What an empty sack with its tie weighs."""
    sack_tolerance: float = Field(0.01, ge=0, le=1)
    """A sack may differ this much from the sum of its bags."""
    packing: Literal["alike", "fewest", "balanced", "together"] = "alike"
    """alike: every sack holds as many bags, so that the count says nothing about what is in it."""
    swap_chance: float = Field(0.001, gt=0, lt=0.5)
    """How often neighbouring bags are exchanged, before the scale is read."""
    slip_chance: float = Field(0.0005, gt=0, lt=0.2)
    odd_share: float = Field(0.01, ge=0, lt=0.5)
    """Share of bags whose mass says nothing."""
    odds_to_speak: float = Field(20.0, gt=0, le=1e6)
    usual_drying: float = Field(0.02, ge=0, lt=1)
    """Share of its mass a load usually loses on the way."""
    usual_drying_sd: float = Field(0.03, gt=0, lt=1)
    most_drying: float = Field(0.10, ge=0, lt=1)
    """A load that dried by more than this is a finding."""
    scale_sd: float = Field(0.01, gt=0, lt=1)
    """Relative standard deviation of the ratio of both scales' masses."""
    scale_sd_kg: float = Field(0.02, ge=0, le=10)
    utc_offset_min: int = Field(0, ge=-840, le=840)
    """The yard's local time less UTC; proposed where a time is typed."""


class PaperSettings(Section):
    size: Literal["a4", "us-letter"] = "a4"
    length_unit: Literal["m", "ft"] = "m"
    mass_unit: Literal["kg", "lb"] = "kg"


class ScaleSettings(Section):
    """A scale at the bench: one that sends lines over a serial line, or one that a small local address answers for."""

    name: str = Field("scale", min_length=1, max_length=40, pattern=r"[A-Za-z0-9][A-Za-z0-9 ._/+-]*")
    port: str = Field("", max_length=200)
    """Serial port, like /dev/ttyUSB0 or COM3; empty when there is none."""
    feed: str = Field("", max_length=200)
    """http address on this machine or the yard's network that answers with the newest line; empty when there is none."""
    baud: int = Field(9600, ge=300, le=921_600)
    data_bits: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    pattern: str = Field(
        r"(?P<stable>ST|US|OL|UL)[,;] *(?P<kind>GS|NT|TR)[,;] *(?P<mass>[+-]? *[0-9]*[.,]?[0-9]*) *(?P<unit>kg|g|lb|oz)",
        max_length=500,
    )
    """Regular expression of one line, with the groups stable, mass, and if it has them kind and unit."""
    stable_words: tuple[str, ...] = ("ST",)
    over_words: tuple[str, ...] = ("OL", "UL")
    net_words: tuple[str, ...] = ("NT",)
    gross_words: tuple[str, ...] = ("GS",)
    unit: Literal["kg", "g", "lb", "oz"] = "kg"
    """Unit of a line that names none."""
    empty_g: int = Field(20, ge=0, le=5000)
    """Below this the scale counts as empty; between two bags it must have been empty."""

    @field_validator("pattern")
    @classmethod
    def has_its_groups(cls, pattern):
        try:
            groups = re.compile(pattern).groupindex
        except re.error as error:
            raise ValueError(f"this is no regular expression ({error})") from error
        if not {"stable", "mass"} <= groups.keys():
            raise ValueError("it needs the named groups (?P<stable>...) and (?P<mass>...)")
        return pattern


class BenchSettings(Section):
    """What the screen at the saw asks for. Nothing here changes a plan."""

    weigh_before_next: bool = True
    """The next bag opens only when this one is weighed."""
    weigh_controls: bool = True
    kept_half: Literal["each sample", "whole tray"] = "each sample"
    """When the kept half is said to be marked and back: after each sample, or once when the tray is closed."""
    wash: Literal["each sample", "after high ground", "never"] = "each sample"
    flush_after_high: bool = True
    """A flush cut after a sample of a high grade class, before the next core."""
    flush_material: str = Field("dressing stone or barren rock", min_length=1, max_length=80)
    not_cut_reasons: tuple[str, ...] = (
        "broken: would fly or jam",
        "clay or soft: water washes it away",
        "too short to hold",
        "line missing or not readable",
        "saw stopped",
    )
    photo_at_close: bool = True
    """A tray is closed with a photograph of the kept core."""
    photo_mb: float = Field(12.0, ge=0.5, le=40)
    """Largest photograph that is kept; a tablet makes a larger one smaller before it sends it."""
    clock_off_min: int = Field(5, ge=1, le=1440)
    """A tablet whose clock is further than this from the yard's is told so."""
    scale: ScaleSettings = ScaleSettings()


class Rules(Section):
    """All settings of one yard."""

    yard: str = Field("A core yard", min_length=1, max_length=80)
    depth: DepthRules = DepthRules()
    trays: TrayRules = TrayRules()
    orientation: OrientationRules = OrientationRules()
    density: DensityRules = DensityRules()
    sampling: SamplingRules = SamplingRules()
    grade_classes: tuple[GradeClass, ...] = (
        GradeClass(name="barren", expected_g_t=0.01),
        GradeClass(name="low", expected_g_t=0.3),
        GradeClass(name="medium", expected_g_t=1.5),
        GradeClass(name="high", expected_g_t=8.0),
        GradeClass(name="visible", expected_g_t=40.0, high=True),
    )
    controls: ControlSettings = ControlSettings()
    numbers: NumberSettings = NumberSettings()
    cut: CutSettings = CutSettings()
    mass: MassSettings = MassSettings()
    sampling_error: SamplingErrorSettings = SamplingErrorSettings()
    dispatch: DispatchSettings = DispatchSettings()
    paper: PaperSettings = PaperSettings()
    bench: BenchSettings = BenchSettings()

    @field_validator("grade_classes")
    @classmethod
    def at_least_one_class(cls, classes):
        if not classes:
            raise ValueError("at least one grade class is needed")
        return classes

    def grade_rank(self, name: str) -> int:
        """Place of a grade class from barren upwards; KeyError when the rules do not know it."""
        return {grade_class.name: rank for rank, grade_class in enumerate(self.grade_classes)}[name]
