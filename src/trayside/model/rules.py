"""The yard's rules as read from `rules.toml`: every setting, its unit in its name, its default and where that comes from.

Defaults without another note are common practice, no source: they are meant to be edited.
"""

from __future__ import annotations

import re
from math import isclose
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from trayside.model.person import Role
from trayside.model.safety_settings import SafetySettings

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
    reference_line: Literal["bottom", "top"] = "bottom"
    """Which line on the core beta is measured from: along the bottom or the top of the hole."""
    apex: Literal["lower", "upper"] = "lower"
    """Which apex of the ellipse beta is read at: the downhole (lower) or the uphole one."""
    alpha_to: Literal["plane", "pole"] = "plane"
    agree_deg: float = Field(10.0, gt=0, lt=180)
    """Marks agree when they lie within this of each other."""
    solid_from: int = Field(3, ge=1, le=20)
    """Agreeing marks for a solid line (one published practice: three, seen); fewer make it dashed."""
    dashed_from: int = Field(2, ge=1, le=20)
    turned_odds: float = Field(100.0, gt=1, le=1e9)
    """Odds at which the fabric is believed when it says that the line of a run lies on the other side of the core."""
    least_oriented: float = Field(0.3, ge=0, le=1)
    """A hole with orientation marks on a smaller share of its core is a finding."""


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


class CutPlaneSettings(Section):
    """Which way to cut. Only the paper and the screens are made from it; no plan is."""

    carriers: dict[str, Annotated[float, Field(gt=0, le=1e6)]] = {"vein": 1.0}
    """Kinds of plane that carry metal, each with its grade against the others; the rock between counts as barren."""
    fabric: tuple[str, ...] = ("foliation", "bedding")
    """Kinds that stand in where too few carriers are measured: the grade may follow the layers."""
    band_mm: float = Field(10.0, gt=0, le=1000)
    """Thickness of a plane that was measured without one."""
    fewest_veins: int = Field(5, ge=2, le=1000)
    """Fewest planes that can show a direction."""
    ignorable_imbalance: float = Field(0.02, ge=0, le=1)
    """What the worst plane may add to the difference of the halves before the direction matters."""
    allowed_rise: float = Field(0.03, ge=0, le=1)
    """Rise in cost that is free; 0.03 is a turn of 10 degrees where all veins agree."""
    chance_limit: float = Field(0.05, gt=0, lt=1)
    domain_shortest_m: float = Field(10.0, gt=0, le=1000)
    domain_fewest_veins: int = Field(8, ge=2, le=1000)
    domain_turn_deg: float = Field(10.0, ge=0, le=90)
    """Smallest change of the best plane that is worth a break."""
    domain_chance: float = Field(0.01, ge=0.005, lt=1)
    """Chance of a break in a hole whose veins keep one direction."""
    drift_alert_deg: float = Field(10.0, gt=0, le=180)
    """A cut line that turns by more than this in a tray, or from one tray to the next, is told (4.2 mm on NQ, derived)."""


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


PairKind = Literal["half/half", "half/quarter", "quarter/quarter", "coarse", "pulp", "second laboratory"]
PAIR_SLOPES: dict[PairKind, float] = {
    "half/half": 1.35, "half/quarter": 1.35, "quarter/quarter": 1.35, "coarse": 1.22, "pulp": 1.11,
    "second laboratory": 1.11,
}  # fmt: skip
PAIR_LIMITS_AT_ZERO: dict[PairKind, float] = dict.fromkeys(PAIR_SLOPES, 5.0)


class ResultSettings(Section):
    """How certificates are judged. Where no source is named a default is our own starting choice."""

    standard_rules: Literal["Shewhart", "Western Electric", "Nelson", "Westgard"] = "Westgard"
    r4s_reading: Literal["both beyond 2", "range over 4"] = "both beyond 2"
    r4s_across_materials: bool = True
    """Westgard's R4s looks at all standards of one batch, whatever their material."""
    scores_against: Literal["certificate", "own history"] = "certificate"
    own_history_least: int = Field(20, ge=8, le=1000)
    """Results of a standard before the yard's own mean and scatter are used."""
    cusum_k: float = Field(0.5, gt=0, le=5)
    cusum_h: float = Field(5.0, gt=0, le=50)
    """k 0.5 and h 5 see one standard deviation in about ten results (Montgomery, from memory)."""
    ewma_weight: float = Field(0.2, gt=0.001, le=1)
    ewma_limit: float = Field(3.0, gt=0, le=10)
    bias_that_matters: float = Field(0.05, gt=0, lt=1)
    """Relative bias of a standard or between pairs that changes what can be done with the results."""
    drift_level: float = Field(0.01, gt=0, lt=0.5)
    own_label_level: float = Field(0.997, gt=0.5, lt=1)
    other_label_level: float = Field(0.95, gt=0.5, lt=1)
    """Distance at which a label no longer holds, and at which another material is taken for it."""
    coarse_blank_limits: float = Field(5.0, gt=0, le=100)
    fine_blank_limits: float = Field(3.0, gt=0, le=100)
    """A blank without an upper limit of its own fails above so many lower limits of the method (from memory)."""
    carry_over_allowed: float = Field(0.01, gt=0, lt=1)
    carry_over_level: float = Field(0.05, gt=0, lt=0.5)
    blank_rate_allowed: float = Field(0.05, gt=0, lt=1)
    carried_is: Literal["note", "failure"] = "note"
    """What a blank above its limit is when all of it may have been carried over from the sample before."""
    pair_slope: dict[PairKind, Annotated[float, Field(gt=1, le=10)]] = PAIR_SLOPES
    """Slope m of the hyperbola larger^2 = m^2 smaller^2 + b^2 of each kind of pair (from memory)."""
    pair_limits_at_zero: dict[PairKind, Annotated[float, Field(ge=0, le=1000)]] = PAIR_LIMITS_AT_ZERO
    """b of the hyperbola in lower limits of the method. A kind that is not named keeps its default."""
    pairs_failed_share: float = Field(0.10, gt=0, lt=1)
    pairs_above_limits: float = Field(10.0, ge=1, le=1000)
    """Precision is taken from pairs whose mean is above so many lower limits."""
    pairs_least: int = Field(8, ge=3, le=1000)
    """Fewer pairs of a kind are shown and not judged."""
    mix_up_odds: float = Field(100.0, gt=1, le=1e9)
    class_log_sd: float = Field(1.0, gt=0, le=5)
    """Scatter of the logarithm of grade inside an expected grade class."""
    bounds: dict[Literal["standard", "blank"], tuple[Literal["standard", "blank"], ...]] = {
        "standard": ("standard",),
        "blank": ("blank",),
    }
    """Kinds of control whose pass ends the range that a failed one opens."""
    passes_to_end: int = Field(1, ge=1, le=10)
    least_standards: int = Field(1, ge=0, le=100)
    least_blanks: int = Field(1, ge=0, le=100)
    """With fewer judged controls in a batch an element cannot be judged."""
    price_per_result: float = Field(0.0, ge=0, le=1e6)
    price_per_kg: float = Field(0.0, ge=0, le=1e6)
    price_per_order: float = Field(0.0, ge=0, le=1e9)
    currency: str = Field("", max_length=10)
    steering_element: str = Field("Au", min_length=1, max_length=40)
    """The element the expected grade classes speak of."""
    elements: tuple[str, ...] = ()
    """Elements that are judged; empty for every element that a standard or a blank is certified for."""
    composite_m: float = Field(2.0, gt=0, le=100)
    composite_end: Literal["keep", "join", "leave out"] = "keep"
    gaps: Literal["no result", "leave out", "as grade"] = "no result"
    gap_grade_ppm: float = Field(0.0, ge=0, le=1e6)
    gap_least_covered: float = Field(0.5, ge=0, le=1)
    cutoff_ppm: float = Field(0.5, gt=0, le=1e6)
    longest_waste_m: float = Field(2.0, ge=0, le=100)
    least_intercept_m: float = Field(1.0, ge=0, le=1000)

    def hyperbola(self, kind: PairKind, *, lower_limit_ppm: float) -> tuple[float, float]:
        """m and b (ppm) of a kind of pair."""
        m = self.pair_slope.get(kind, PAIR_SLOPES[kind])
        return m, self.pair_limits_at_zero.get(kind, PAIR_LIMITS_AT_ZERO[kind]) * lower_limit_ppm


class SawRockClass(Section):
    """Rocks that wear a blade alike, how fast, and at which speed they are usually cut."""

    name: str = Field(min_length=1, max_length=40)
    rocks: tuple[str, ...] = ()
    """Rock codes of the class."""
    low_m_s: float | None = Field(None, gt=0, le=100)
    """Surface speeds usual for it; both or neither. No law gives them."""
    high_m_s: float | None = Field(None, gt=0, le=100)
    wear_mm_per_m2: float = Field(0.2, gt=0, le=100)
    """Height worn off the segments for each square metre sawn, before any reading."""
    wear_sd_mm_per_m2: float = Field(0.08, gt=0, le=100)

    @model_validator(mode="after")
    def speeds_in_order(self):
        if (self.low_m_s is None) != (self.high_m_s is None):
            raise ValueError("give low_m_s and high_m_s, or neither")
        if self.low_m_s is not None and self.low_m_s >= self.high_m_s:
            raise ValueError("low_m_s must be below high_m_s")
        return self


class SawSettings(Section):
    """Saws, blades, water, the pre-start card. The maker's manual and the law of the place come before all of it."""

    card_needed: bool = True
    """Without a passed card a saw of the register does not run."""
    card_for: Literal["day", "shift"] = "day"
    """A card holds until midnight, or for shift_h hours after it was signed."""
    shift_h: float = Field(12.0, gt=0, le=24)
    card_after_blade_change: bool = True
    """A blade fitted after the card was signed asks for a new card."""
    card_left_out: tuple[str, ...] = ()
    """Keys of items this yard does not ask, as printed on the card."""
    card_more: tuple[Annotated[str, Field(min_length=1, max_length=200)], ...] = ()
    """Items of this yard's own."""
    glove_rule: str = Field(
        "no gloves near the running blade, gloves to lift cut core and trays", min_length=1, max_length=200
    )
    """Sources conflict: one warns of gloves drawn into rotating tools, another asks for heavy gloves (both seen)."""
    release_roles: tuple[Role, ...] = ("lead",)
    """Who may release a saw that is tagged out."""
    clean_out_needed: bool = True
    """Without the clean-out after the last cut of a day the saw does not run the next."""
    method_saws: dict[str, Literal["automatic", "manual", "splitter"]] = {
        "automatic saw": "automatic",
        "manual saw": "manual",
        "splitter": "splitter",
    }
    """Which kind of saw a cut method asks for, by the words of [cut.method_by_condition]."""
    methods_without_saw: tuple[str, ...] = ("half by mass", "knife", "wire", "whole core")
    """Every other method counts as sawing."""
    classes: tuple[SawRockClass, ...] = ()
    """Rocks that wear a blade alike. Rocks in no class belong to other_rock."""
    other_rock: SawRockClass = SawRockClass(name="rock")
    lowest_height_mm: float = Field(2.0, ge=0, le=50)
    """Segments this high come off: never down to the core of the blade, never to finish a tray."""
    new_height_sd_mm: float = Field(0.2, gt=0, le=10)
    height_scatter_mm: float = Field(0.1, gt=0, le=10)
    """Scatter of a reading: caliper and unevenness of the rim."""
    uneven_mm: float = Field(0.5, gt=0, le=10)
    """Segments that differ by more are a caution."""
    between_blades: float = Field(0.1, ge=0, le=10)
    """How much blades of one type differ in wear, as a share."""
    interval: float = Field(0.9, gt=0, lt=1)
    """Share of belief inside the interval of what a blade will still cut."""
    below_cradle_mm: float = Field(4.0, ge=0, le=50)
    clearance_mm: float = Field(3.0, ge=0, le=50)
    water_low_l_min: float = Field(3.0, gt=0, le=200)
    """Flow at the blade for a saw whose maker's figure is not in saws.csv: 3 to 5 (trade page, seen). No law gives it."""
    water_high_l_min: float = Field(5.0, gt=0, le=200)
    water_hottest_degc: float = Field(60.0, gt=0, le=100)
    water_change_m: float = Field(60.0, gt=0, le=100_000)
    """Recirculated water is changed after so many metres."""
    lead_days: float = Field(15.0, ge=0, le=1000)
    """Working days from order to arrival of a blade that has none in blades.csv."""
    margin_days: float = Field(2.0, ge=0, le=1000)
    work_days_a_week: float = Field(6.0, gt=0, le=7)
    longest_cut_min: float = Field(30.0, gt=0, le=1440)
    """A longer time between two acts at the saw is a break and no cutting time."""

    @model_validator(mode="after")
    def makes_sense(self):
        if self.water_low_l_min >= self.water_high_l_min:
            raise ValueError("water_low_l_min must be below water_high_l_min")
        names = [one.name for one in (*self.classes, self.other_rock)]
        if len(set(names)) != len(names):
            raise ValueError("two rock classes have one name")
        rocks = [rock for one in self.classes for rock in one.rocks]
        if len(set(rocks)) != len(rocks):
            raise ValueError("a rock stands in two classes")
        if not self.release_roles:
            raise ValueError("somebody must be able to release a saw")
        return self


CLOCK_TIME = r"([01][0-9]|2[0-3]):[0-5][0-9]"
WeekDay = Literal["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]


class ShiftBreak(Section):
    at: str = Field(pattern=CLOCK_TIME)
    minutes: int = Field(ge=1, le=240)


class ShiftRules(Section):
    """Hours of a shift, minutes between trays, and what counts how much when the shift is planned."""

    start: str = Field("07:00", pattern=CLOCK_TIME)
    hours: float = Field(10.0, gt=0, le=24)
    breaks: tuple[ShiftBreak, ...] = (ShiftBreak(at="09:30", minutes=20), ShiftBreak(at="12:30", minutes=40))
    start_up_min: float = Field(20.0, ge=0, le=240)
    """Pre-start card, water, first tray laid out; nothing is cut before."""
    clean_out_min: float = Field(20.0, ge=0, le=240)
    """Cleaning out at the end of the shift."""
    saws: tuple[str, ...] = ("SAW-1", "SAW-2")
    """Saws of a yard that has no saws.csv, beside those that its ledger names."""
    wash_min: float = Field(1.0, ge=0, le=240)
    wash_down_min: float = Field(4.0, ge=0, le=240)
    """Between two trays when the next one is of a lower grade class: wash and flush cut."""
    hole_change_min: float = Field(8.0, ge=0, le=240)
    """Bench and sump cleaned, the next hole laid out."""
    blade_change_min: float = Field(15.0, ge=0, le=240)
    finish_weight: float = Field(1.0, ge=0, le=1000)
    """What a minute until the last saw is done counts beside a minute that a metre waits on average."""
    late_weight: float = Field(20.0, ge=0, le=1000)
    """What a minute after the lorry counts beside a minute of waiting."""
    priorities: dict[str, Annotated[float, Field(gt=0, le=1000)]] = {"normal": 1.0, "soon": 2.0, "first": 4.0}
    """How much a metre counts, by the words a hole is given; the first is the usual one."""
    hole_priority: dict[str, str] = {}
    """Standing priority of a hole, one of the words of priorities."""
    lorry_days: tuple[WeekDay, ...] = ()
    lorry_at: str = Field("15:00", pattern=CLOCK_TIME)
    seconds: float = Field(5.0, gt=0, le=20)
    """How long a better plan is looked for."""
    seed: int = Field(1, ge=0)
    most_trays: int = Field(200, ge=1, le=1000)
    """More trays than this are not planned at once: those issued first come first."""
    area_rate_m2_h: float = Field(0.68, gt=0, le=100)
    """Square metres sawn in an hour before anything was logged, in any rock."""
    handling_minutes: float = Field(1.2, gt=0, le=240)
    """Minutes a metre of fetching, turning, bagging and marking before anything was logged."""
    learn_from_cuts: int = Field(2000, ge=0, le=100_000)
    """So many of the newest cuts of each saw teach the minutes per metre."""
    confidence: float = Field(0.9, gt=0, lt=1)
    bag_minutes: float = Field(1.5, gt=0, le=240)
    """One person bags or weighs one bag; says when bags that wait behind the saw are done."""

    @model_validator(mode="after")
    def makes_sense(self):
        if not self.priorities:
            raise ValueError("priorities needs at least one word")
        unknown = sorted(set(self.hole_priority.values()) - set(self.priorities))
        if unknown:
            raise ValueError(f"hole_priority names {unknown[0]}, which is no word of priorities")
        paused = self.start_up_min + self.clean_out_min + sum(one.minutes for one in self.breaks)
        if paused >= self.hours * 60:
            raise ValueError("breaks, start_up_min and clean_out_min leave no time to cut")
        return self


class ReportSettings(Section):
    """What the evidence sheet says in the yard's own words."""

    answers: dict[str, str] = {}
    """Key of a question of the evidence sheet, and the yard's answer to it."""


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
    cut_plane: CutPlaneSettings = CutPlaneSettings()
    mass: MassSettings = MassSettings()
    sampling_error: SamplingErrorSettings = SamplingErrorSettings()
    dispatch: DispatchSettings = DispatchSettings()
    paper: PaperSettings = PaperSettings()
    bench: BenchSettings = BenchSettings()
    saws: SawSettings = SawSettings()
    shift: ShiftRules = ShiftRules()
    safety: SafetySettings = SafetySettings()
    results: ResultSettings = ResultSettings()
    report: ReportSettings = ReportSettings()

    @field_validator("grade_classes")
    @classmethod
    def at_least_one_class(cls, classes):
        if not classes:
            raise ValueError("at least one grade class is needed")
        return classes

    def grade_rank(self, name: str) -> int:
        """Place of a grade class from barren upwards; KeyError when the rules do not know it."""
        return {grade_class.name: rank for rank, grade_class in enumerate(self.grade_classes)}[name]
