"""Before a campaign: would this control scheme see such a fault, and how soon? Played out many thousand times.

One campaign is months of batches, batches of racks, racks of tickets with standards and blanks among them. A fault
begins at a random ticket of the first batch after a fault-free lead:

     lead (no fault)      | first batch: begins here v          | next batches ...
     s S s s b s S s ...  | s S s s s b s s S s s s s S s s b s | S ...
                                              ^ first control that can see it

It is seen when a control of the kind that can see it (standards a bias or drift, blanks contamination) breaks a rule
while it lasts. The same draws without the fault give the chance of an alarm that means nothing; a chance to see is
worth what it exceeds that by.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats
from scipy.special import ndtri

from trayside.core.number_lists import fraction, number_list, one_number, whole_count
from trayside.core.refusals import Floats
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

BIAS, DRIFT, CONTAMINATION = "bias", "drift", "contamination"
FAULT_KINDS = (BIAS, DRIFT, CONTAMINATION)
RACK, BATCH, ONWARD = "rack", "batch", "onward"
DURATIONS = (RACK, BATCH, ONWARD)
WINDOWS = ("batch", "month", "campaign")
CHUNK_CELLS = 1_000_000  # controls played at a time: bounds the memory, and is part of what a seed means


@dataclass(frozen=True, slots=True)
class ControlScheme:
    """How many controls stand where. Rates are fractions of all tickets; every field is a setting."""

    tickets_per_batch: int = 100
    batches_per_month: int = 4
    months: int = 6
    rack_size: int = 50
    standard_rate: float = 0.05
    blank_rate: float = 1 / 30
    standard_in_every_rack: bool = True
    blank_in_every_rack: bool = True
    blank_behind_best: float = 0.7  # chance that a blank stands behind the richest sample of its rack
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own", "common practice, no source"
    )

    def __post_init__(self) -> None:
        for name in ("tickets_per_batch", "batches_per_month", "months", "rack_size"):
            whole_count(getattr(self, name), name)
        for name in ("standard_rate", "blank_rate"):
            one_number(getattr(self, name), name, at_least=0.0, at_most=0.5)
        one_number(self.blank_behind_best, "blank_behind_best", at_least=0.0, at_most=1.0)

    @property
    def batches(self) -> int:
        """Batches of the campaign."""
        return self.batches_per_month * self.months


@dataclass(frozen=True, slots=True)
class LaboratoryModel:
    """How results scatter without a fault. Sds of standards are shares of their value; the rest in the grade's unit."""

    standard_sd: float = 0.03  # of one result within a batch
    batch_sd: float = 0.01  # between batches, the same for all standards of a batch
    chart_sd: float = 0.035  # what a score divides by: certificate or history
    grade_median: float = 0.5
    grade_log_sd: float = 1.5
    blank_background: float = 0.002
    blank_sd: float = 0.002
    blank_limit: float = 0.025
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own", "common practice, no source"
    )

    def __post_init__(self) -> None:
        for name in ("standard_sd", "chart_sd", "grade_median", "blank_limit"):
            one_number(getattr(self, name), name, above=0.0)
        for name in ("batch_sd", "grade_log_sd", "blank_background", "blank_sd"):
            one_number(getattr(self, name), name, at_least=0.0)


@dataclass(frozen=True, slots=True)
class SchemeRules:
    """What counts as seen. None switches a rule off."""

    beyond: float | None = 3.0  # one score
    two_beyond: float | None = 2.0  # two scores in a row on one side
    cusum_k: float = 0.5
    cusum_h: float | None = None
    blank_above: bool = True  # a blank above its limit

    def __post_init__(self) -> None:
        for name in ("beyond", "two_beyond", "cusum_h"):
            if getattr(self, name) is not None:
                one_number(getattr(self, name), name, above=0.0)
        one_number(self.cusum_k, "cusum_k", at_least=0.0)


DEFAULT_RULES = SchemeRules()


@dataclass(frozen=True, slots=True)
class Fault:
    """A bias (share of the value), a drift (share a batch, growing), or contamination (share carried over)."""

    kind: str
    size: float
    lasts: str = ONWARD  # one rack, the rest of the batch, or to the end

    def __post_init__(self) -> None:
        if self.kind not in FAULT_KINDS:
            raise ImpossibleValue(f"{self.kind!r}", where="fault, kind", remedy=f"Use: {', '.join(FAULT_KINDS)}")
        if self.lasts not in DURATIONS:
            raise ImpossibleValue(f"{self.lasts!r}", where="fault, lasts", remedy=f"Use: {', '.join(DURATIONS)}")
        if self.kind == CONTAMINATION:
            one_number(self.size, "size", at_least=0.0, at_most=1.0)
        else:
            one_number(self.size, "size", above=-1.0)


@dataclass(frozen=True, slots=True)
class Chance:
    """A share of the campaigns played, with the interval that so many plays leave (99 %)."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class DesignPower:
    """Chance that the fault is seen in the batch it began in, in a month, in the campaign; and alarms without it."""

    seen: dict[str, Chance]  # by window
    alarm: dict[str, Chance]  # the same controls in the same stretch, no fault there
    by_batch: Floats  # (batches,) seen by the end of so many
    mean_tickets: float  # from the beginning to the control that sees it, both counted; infinite when some never are
    median_tickets: float  # infinite when half never are
    p90_tickets: float
    campaigns: int
    seed: int


@dataclass(frozen=True, slots=True)
class DesignCurve:
    """Chances over sizes of the fault; arrays (sizes,)."""

    size: Floats
    batch: Floats
    month: Floats
    campaign: Floats
    alarm: Floats  # in the campaign, without the fault


@dataclass(frozen=True, slots=True)
class Recommendation:
    """Smallest rate that reaches the target, or None, with all rates tried."""

    rate: float | None
    rates: Floats
    seen: Floats
    alarm: Floats
    says: str


def play_scheme(
    *,
    scheme: ControlScheme,
    laboratory: LaboratoryModel,
    fault: Fault,
    rules: SchemeRules = DEFAULT_RULES,
    campaigns: int = 10_000,
    seed: int = 1,
    lead_batches: int = 2,
) -> DesignPower:
    """Chance that a control scheme sees a fault within a batch, a month and the campaign.

    Standards: score = (batch effect + scatter + fault) / chart sd, read by the rules in the order of the tickets across
    batches. Blanks: background + scatter + share x sample before, against the limit; a sample before is the richest of
    its rack with the chance stated, else any. Each rack holds its rate of controls, the broken part by chance, and one
    at least where the scheme says so, at random places. Rules carry over from the lead; an alarm before the fault
    starts sums and runs afresh.

    Parameters
    ----------
    scheme : ControlScheme
        Rates, racks, batches, months.
    laboratory : LaboratoryModel
        Scatter of standards, grades and blanks.
    fault : Fault
        What goes wrong and for how long.
    rules : SchemeRules
        What counts as seen.
    campaigns : int
        Campaigns played.
    seed : int
        Of the draws; the same seed gives the same answer.
    lead_batches : int
        Fault-free batches before, for rules with a memory.

    Returns
    -------
    DesignPower
        .seen and .alarm by window ("batch", "month", "campaign"), each .value [1] with .low and .high; .by_batch
        (batches,) [1]; .mean_tickets, .median_tickets, .p90_tickets.

    Raises
    ------
    ImpossibleValue
        When a count is not whole and positive.

    Valid for: one element; all standards read by one chart as scores; whoever looks reads every control at once.
    Source: simulation (derived); held against exact run lengths of Shewhart and CUSUM charts.
    Checked by: tests/published/test_scheme_design_published.py, tests/unit/core/test_scheme_design.py,
        tests/properties/test_scheme_design_properties.py
    """
    plays = whole_count(campaigns, "campaigns")
    lead = whole_count(lead_batches, "lead_batches", least=0)
    whole_count(seed, "seed", least=0)
    layout = _layout(scheme, fault, lead)
    at_a_time = max(1, CHUNK_CELLS // max(layout.cells, 1))
    sizes = [min(at_a_time, plays - done) for done in range(0, plays, at_a_time)]
    streams = np.random.SeedSequence(seed).spawn(len(sizes))
    parts = [
        _play(layout, laboratory, fault, rules, count, np.random.default_rng(stream))
        for count, stream in zip(sizes, streams, strict=True)
    ]
    begin, seen_at, alarm_at = (np.concatenate(one) for one in zip(*parts, strict=True))
    tickets = scheme.tickets_per_batch
    ends = (tickets, tickets * scheme.batches_per_month, tickets * scheme.batches)
    until_seen = seen_at - begin + 1.0
    return DesignPower(
        seen={name: _chance(int((seen_at < end).sum()), plays) for name, end in zip(WINDOWS, ends, strict=True)},
        alarm={name: _chance(int((alarm_at < end).sum()), plays) for name, end in zip(WINDOWS, ends, strict=True)},
        by_batch=np.array([float(np.mean(seen_at < (b + 1) * tickets)) for b in range(scheme.batches)]),
        mean_tickets=float(until_seen.mean()),
        median_tickets=float(np.quantile(until_seen, 0.5, method="inverted_cdf")),
        p90_tickets=float(np.quantile(until_seen, 0.9, method="inverted_cdf")),
        campaigns=plays,
        seed=seed,
    )


def design_curve(
    *,
    scheme: ControlScheme,
    laboratory: LaboratoryModel,
    kind: str,
    sizes: ArrayLike,
    lasts: str = ONWARD,
    rules: SchemeRules = DEFAULT_RULES,
    campaigns: int = 10_000,
    seed: int = 1,
) -> DesignCurve:
    """Chances to see a fault over its size.

    play_scheme for each size with the same draws, so that the curve does not jump about.

    Parameters
    ----------
    scheme : ControlScheme
        Rates, racks, batches, months.
    laboratory : LaboratoryModel
        Scatter of standards, grades and blanks.
    kind : str
        "bias", "drift" or "contamination".
    sizes : array (sizes,) [1]
        Sizes of the fault.
    lasts : str
        "rack", "batch" or "onward".
    rules : SchemeRules
        What counts as seen.
    campaigns : int
        Campaigns played for each size.
    seed : int
        Of the draws.

    Returns
    -------
    DesignCurve
        .size, .batch, .month, .campaign, .alarm (sizes,) [1]; .alarm is of the campaign.

    Raises
    ------
    ImpossibleValue
        When there is no size, or as for play_scheme.

    Valid for: as play_scheme.
    Source: simulation (derived).
    Checked by: tests/unit/core/test_scheme_design.py, tests/properties/test_scheme_design_properties.py
    """
    each = number_list(sizes, "sizes")
    played = [
        play_scheme(
            scheme=scheme,
            laboratory=laboratory,
            fault=Fault(kind, float(size), lasts),
            rules=rules,
            campaigns=campaigns,
            seed=seed,
        )
        for size in each
    ]
    batch, month, campaign = (np.array([one.seen[name].value for one in played]) for name in WINDOWS)
    return DesignCurve(each, batch, month, campaign, np.array([one.alarm["campaign"].value for one in played]))


def recommend_rate(
    *,
    scheme: ControlScheme,
    laboratory: LaboratoryModel,
    fault: Fault,
    rates: ArrayLike,
    target: float = 0.9,
    within: str = "month",
    rules: SchemeRules = DEFAULT_RULES,
    campaigns: int = 10_000,
    seed: int = 1,
) -> Recommendation:
    """The smallest rate of controls that sees the fault within the window with the wanted chance.

    Tries the rates from low to high: of blanks for contamination, of standards for bias and drift. A rate reaches the
    target when the lower end of its interval does, so that luck of the draw does not recommend.

    Parameters
    ----------
    scheme : ControlScheme
        All but the rate.
    laboratory : LaboratoryModel
        Scatter of standards, grades and blanks.
    fault : Fault
        What has to be seen.
    rates : array (r,) [1]
        Rates to try, fractions of all tickets.
    target : float [1]
        Wanted chance.
    within : str
        "batch", "month" or "campaign".
    rules : SchemeRules
        What counts as seen.
    campaigns : int
        Campaigns played for each rate.
    seed : int
        Of the draws.

    Returns
    -------
    Recommendation
        .rate [1] or None; .rates (r,), .seen (r,), .alarm (r,) [1]; .says in words.

    Raises
    ------
    ImpossibleValue
        When a rate is out of range or the window is unknown.

    Valid for: as play_scheme.
    Source: simulation (derived).
    Checked by: tests/unit/core/test_scheme_design.py
    """
    if within not in WINDOWS:
        raise ImpossibleValue(f"{within!r}", where="within", remedy=f"Use one of: {', '.join(WINDOWS)}")
    wanted = fraction(target, "target")
    ordered = np.sort(number_list(rates, "rates"))
    name = "blank_rate" if fault.kind == CONTAMINATION else "standard_rate"
    played = [
        play_scheme(
            scheme=replace(scheme, **{name: float(rate)}),
            laboratory=laboratory,
            fault=fault,
            rules=rules,
            campaigns=campaigns,
            seed=seed,
        )
        for rate in ordered
    ]
    enough = [rate for rate, one in zip(ordered, played, strict=True) if one.seen[within].low >= wanted]
    what = "blanks" if fault.kind == CONTAMINATION else "standards"
    unit = " a batch" if fault.kind == DRIFT else ""
    story = f"{fault.kind} of {fault.size:.2%}{unit} within a {within}"
    if enough:
        best = played[int(np.flatnonzero(ordered == enough[0])[0])]
        says = (
            f"{what} in {enough[0]:.1%} of the tickets show a {story} in {best.seen[within].value:.0%} of campaigns; "
            f"an alarm without fault comes in {best.alarm[within].value:.0%}"
        )
    else:
        says = (
            f"none of the rates tried shows a {story} in {wanted:.0%} of campaigns; "
            f"{ordered[-1]:.1%} shows it in {played[-1].seen[within].value:.0%}"
        )
    return Recommendation(
        rate=float(enough[0]) if enough else None,
        rates=ordered,
        seen=np.array([one.seen[within].value for one in played]),
        alarm=np.array([one.alarm[within].value for one in played]),
        says=says,
    )


@dataclass(frozen=True, slots=True)
class _Layout:
    """Batches and racks of one campaign, and how many controls of the kind that can see the fault each rack gets."""

    tickets: int
    lead: int
    batches: int
    rack_start: np.ndarray
    rack_tickets: np.ndarray
    rate: float
    in_every_rack: bool
    behind_best: float

    @property
    def slots(self) -> int:
        return int(max(np.floor(self.rate * self.rack_tickets).max() + 1, 1))

    @property
    def cells(self) -> int:
        return (self.lead + self.batches) * len(self.rack_start) * self.slots


def _layout(scheme: ControlScheme, fault: Fault, lead: int) -> _Layout:
    start = np.arange(0, scheme.tickets_per_batch, scheme.rack_size)
    by_blank = fault.kind == CONTAMINATION
    return _Layout(
        tickets=scheme.tickets_per_batch,
        lead=lead,
        batches=scheme.batches,
        rack_start=start,
        rack_tickets=np.diff(np.append(start, scheme.tickets_per_batch)),
        rate=scheme.blank_rate if by_blank else scheme.standard_rate,
        in_every_rack=scheme.blank_in_every_rack if by_blank else scheme.standard_in_every_rack,
        behind_best=scheme.blank_behind_best,
    )


def _play(
    layout: _Layout,
    laboratory: LaboratoryModel,
    fault: Fault,
    rules: SchemeRules,
    count: int,
    rng: np.random.Generator,
) -> tuple[Floats, Floats, Floats]:
    """Ticket where each campaign's fault begins, where it is seen, where an alarm comes without it (infinite: never).

    Tickets count from 0 at the first batch; those of the lead are negative.
    """
    place, present, number = _places(layout, count, rng)
    begin, end = _stretch_of_fault(layout, fault.lasts, count, rng)
    active = present & (place >= begin) & (place <= end)
    if fault.kind == CONTAMINATION:
        without = laboratory.blank_background + laboratory.blank_sd * rng.standard_normal(place.shape)
        carried = np.where(active, fault.size * _grade_before(layout, laboratory, number, place.shape, rng), 0.0)
        if not rules.blank_above:
            never = np.full(count, np.inf)
            return begin, never, never
        return (
            begin,
            _first(active & (without + carried > laboratory.blank_limit), place),
            _first(active & (without > laboratory.blank_limit), place),
        )
    scatter = laboratory.standard_sd * rng.standard_normal(place.shape)
    per_batch = len(layout.rack_start) * layout.slots
    scatter += laboratory.batch_sd * np.repeat(
        rng.standard_normal((layout.lead + layout.batches, count)), per_batch, axis=0
    )
    growth = 1.0 if fault.kind == BIAS else (place - begin) / layout.tickets
    shift = np.where(active, fault.size * growth, 0.0)
    return (
        begin,
        _first_broken((scatter + shift) / laboratory.chart_sd, place, present, active, rules),
        _first_broken(scatter / laboratory.chart_sd, place, present, active, rules),
    )


def _places(layout: _Layout, count: int, rng: np.random.Generator) -> tuple[Floats, np.ndarray, np.ndarray]:
    """Ticket of every control slot (slots in order, campaigns), which slots are filled, and the controls of the rack.

    A rack is parted into as many blocks as it has controls; each block holds one, anywhere in it.
    """
    shape = (layout.lead + layout.batches, len(layout.rack_start), layout.slots, count)
    size = layout.rack_tickets[None, :, None, None].astype(np.float64)
    wanted = layout.rate * size
    number = np.floor(wanted) + (rng.random((shape[0], shape[1], 1, count)) < wanted - np.floor(wanted))
    if layout.in_every_rack:
        number = np.maximum(number, 1.0)
    slot = np.arange(layout.slots)[None, None, :, None]
    present = slot < number
    inside = np.floor((slot + rng.random(shape)) * size / np.maximum(number, 1.0))
    batch = np.arange(-layout.lead, layout.batches)[:, None, None, None]
    place = batch * layout.tickets + layout.rack_start[None, :, None, None] + inside
    flat = (-1, count)
    number = np.broadcast_to(number, shape)
    return place.reshape(flat), present.reshape(flat), number.reshape(flat)


def _stretch_of_fault(layout: _Layout, lasts: str, count: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """First and last ticket of the fault in each campaign."""
    anywhere = np.floor(rng.random(count) * layout.tickets)
    if lasts == RACK:
        rack = np.searchsorted(layout.rack_start, anywhere, side="right") - 1
        first = layout.rack_start[rack].astype(np.float64)
        return first, first + layout.rack_tickets[rack] - 1.0
    last = layout.tickets * (1 if lasts == BATCH else layout.batches) - 1.0
    return anywhere, np.full(count, last)


def _grade_before(
    layout: _Layout, laboratory: LaboratoryModel, number: np.ndarray, shape: tuple, rng: np.random.Generator
) -> Floats:
    """Grade of the sample before each blank: for one blank of a rack the best of its samples, when it was known."""
    racks = len(layout.rack_start)
    blocks = (layout.lead + layout.batches, racks, layout.slots, shape[1])
    chosen = np.floor(rng.random((blocks[0], racks, 1, shape[1])) * number.reshape(blocks))
    known = rng.random((blocks[0], racks, 1, shape[1])) < layout.behind_best
    best = known & (np.arange(layout.slots)[None, None, :, None] == chosen)
    samples = np.maximum(layout.rack_tickets[None, :, None, None] - number.reshape(blocks), 1.0)
    share = rng.random(blocks) ** np.where(best, 1.0 / samples, 1.0)
    score = ndtri(np.clip(share, 1e-16, 1.0 - 1e-16))
    return (laboratory.grade_median * np.exp(laboratory.grade_log_sd * score)).reshape(shape)


def _first(broken: np.ndarray, place: Floats) -> Floats:
    return np.where(broken, place, np.inf).min(axis=0)


def _first_broken(score: Floats, place: Floats, present: np.ndarray, active: np.ndarray, rules: SchemeRules) -> Floats:
    """Ticket of the first standard in the fault's stretch that breaks a rule, the scores read one after another."""
    count = score.shape[1]
    found = np.full(count, np.inf)
    before, upper, lower = np.zeros(count), np.zeros(count), np.zeros(count)
    for z, at, there, counts in zip(score, place, present, active, strict=True):
        broken = np.zeros(count, dtype=bool)
        if rules.beyond is not None:
            broken |= np.abs(z) > rules.beyond
        if rules.two_beyond is not None:
            limit = rules.two_beyond
            broken |= ((z > limit) & (before > limit)) | ((z < -limit) & (before < -limit))
        if rules.cusum_h is not None:
            new_upper = np.maximum(0.0, upper + z - rules.cusum_k)
            new_lower = np.maximum(0.0, lower - z - rules.cusum_k)
            broken |= (new_upper > rules.cusum_h) | (new_lower > rules.cusum_h)
            upper, lower = np.where(there, new_upper, upper), np.where(there, new_lower, lower)
        broken &= there
        np.minimum(found, np.where(broken & counts, at, np.inf), out=found)
        afresh = broken & ~counts
        before = np.where(afresh, 0.0, np.where(there, z, before))
        if rules.cusum_h is not None:
            upper[afresh] = lower[afresh] = 0.0
    return found


def _chance(hits: int, plays: int) -> Chance:
    """Share with its exact 99 % interval."""
    low = 0.0 if hits == 0 else float(stats.beta.ppf(0.005, hits, plays - hits + 1))
    high = 1.0 if hits == plays else float(stats.beta.isf(0.005, hits + 1, plays - hits))
    return Chance(hits / plays, low, high)
