"""How well a sample of a given mass can stand for its lot: Gy's fundamental error, core portions, grain counts.

Variances are relative throughout: 0.0001 is a standard deviation of 1 %. `limits_in_words` says what they cannot tell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from trayside.core.refusals import numbers, plain, refuse_where, together
from trayside.core.sources import Source, SourcedNumber

GRAINS_WANTED = SourcedNumber(
    20.0, Source("Clifton et al. 1969, USGS Professional Paper 625-C", "20-particle rule", "from memory")
)
TOTAL_TO_FUNDAMENTAL = SourcedNumber(
    2.0,
    Source(
        "Introduction to Mineral Exploration, ch. 10", "p. 205: total variance at most twice the fundamental", "seen"
    ),
)
PURE_GOLD_T_M3 = SourcedNumber(19.3, Source("density of pure gold", "handbook value", "from memory"))


@dataclass(frozen=True, slots=True)
class FundamentalError:
    """Relative variance and relative standard deviation; fractions of one."""

    relative_variance: Any
    relative_sd: Any


@dataclass(frozen=True, slots=True)
class StagedError:
    """The fundamental errors of several reductions in a row and their sum."""

    stage_relative_variance: Any
    relative_variance: float
    relative_sd: float


@dataclass(frozen=True, slots=True)
class GrainCount:
    """What chance does to the number of grains in a sample."""

    relative_sd: Any
    chance_of_none: Any
    low_count: Any
    high_count: Any
    chance_within: Any


def target_relative_sd(*, relative_error: ArrayLike, z: ArrayLike) -> Any:
    """Standard deviation that keeps the error inside a limit at a stated confidence.

    The limit divided by the number of standard deviations that the confidence stands for.

    Parameters
    ----------
    relative_error : float or array (n,) [1]
        Largest error wanted, as a fraction of the value.
    z : float or array (n,) [1]
        Standard deviations for the confidence: 1.96 for 95 %, 2.576 for 99 %.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When either is not more than 0.

    Valid for: errors that follow the normal law.
    Source: course note CM3820 'Sampling' (14 January 2009) (seen).
    Checked by: tests/published/test_gy_figures.py
    """
    error, width = together(
        relative_error=numbers(relative_error, "relative_error", above=0.0), z=numbers(z, "z", above=0.0)
    )
    return plain(error / width)


def fundamental_error(
    *, heterogeneity_g: ArrayLike, sample_mass_g: ArrayLike, lot_mass_g: ArrayLike = np.inf
) -> FundamentalError:
    """Fundamental sampling error of taking a sample from a lot.

    Relative variance = (1/sample - 1/lot) x heterogeneity. It is 0 when the whole lot is taken.

    Parameters
    ----------
    heterogeneity_g : float or array (n,) [g]
        From gy_factors.
    sample_mass_g : float or array (n,) [g]
        Mass taken.
    lot_mass_g : float or array (n,) [g]
        Mass it was taken from; infinite for a very large lot.

    Returns
    -------
    FundamentalError
        .relative_variance (n,) [1], .relative_sd (n,) [1]

    Raises
    ------
    ImpossibleValue
        When a mass is not more than 0, the heterogeneity is negative, or the sample is heavier than the lot.

    Valid for: broken, well mixed rock, each fragment with the same chance to be taken.
    Source: Gy, Sampling of Particulate Materials (1979) (from memory); form with both masses: samplingtheory.com, page
        on Gy's formula (seen).
    Checked by: tests/published/test_gy_figures.py, tests/unit/core/test_sampling_error.py
    """
    spread, sample, lot = together(
        heterogeneity_g=numbers(heterogeneity_g, "heterogeneity_g", at_least=0.0),
        sample_mass_g=numbers(sample_mass_g, "sample_mass_g", above=0.0),
        lot_mass_g=numbers(lot_mass_g, "lot_mass_g", above=0.0, infinite_ok=True),
    )
    refuse_where(sample > lot, sample, "sample_mass_g", "is more than the lot it came from", "Check the two masses")
    variance = (1.0 / sample - 1.0 / lot) * spread
    return FundamentalError(relative_variance=plain(variance), relative_sd=plain(np.sqrt(variance)))


def minimum_mass_g(*, heterogeneity_g: ArrayLike, target_sd: ArrayLike, lot_mass_g: ArrayLike = np.inf) -> Any:
    """Smallest sample whose fundamental error stays at the target.

    fundamental_error solved for the sample mass; never more than the lot.

    Parameters
    ----------
    heterogeneity_g : float or array (n,) [g]
        From gy_factors.
    target_sd : float or array (n,) [1]
        Relative standard deviation wanted.
    lot_mass_g : float or array (n,) [g]
        Mass of the lot; infinite for a very large lot.

    Returns
    -------
    float or array (n,) [g]

    Raises
    ------
    ImpossibleValue
        When the heterogeneity, target or lot is not more than 0.

    Valid for: as fundamental_error.
    Source: Gy's formula solved for the mass (derived).
    Checked by: tests/published/test_gy_figures.py, tests/unit/core/test_sampling_error.py
    """
    spread, target, lot = together(
        heterogeneity_g=numbers(heterogeneity_g, "heterogeneity_g", above=0.0),
        target_sd=numbers(target_sd, "target_sd", above=0.0),
        lot_mass_g=numbers(lot_mass_g, "lot_mass_g", above=0.0, infinite_ok=True),
    )
    return plain(1.0 / (target * target / spread + 1.0 / lot))


def staged_error(
    *, heterogeneity_g: ArrayLike, sample_mass_g: ArrayLike, lot_mass_g: ArrayLike | None = None
) -> StagedError:
    """Fundamental error of several reductions one after the other.

    The variances of the stages add up. Unless told otherwise the lot of each stage is the sample of the one before,
    and the first lot is very large.

    Parameters
    ----------
    heterogeneity_g : array (k,) [g]
        Heterogeneity at the fragment size of each stage.
    sample_mass_g : array (k,) [g]
        Mass taken at each stage.
    lot_mass_g : float or array (k,) or None [g]
        One number: the mass of the first lot. A list: the lot of every stage, infinite where it is very large.

    Returns
    -------
    StagedError
        .stage_relative_variance (k,) [1], .relative_variance [1], .relative_sd [1]

    Raises
    ------
    ImpossibleValue
        As for fundamental_error, at any stage.

    Valid for: stages that err independently; crushing between stages changes the heterogeneity, not the mass.
    Source: stages add: Minkkinen, sampling-competence.com, 'Sampling vs analytical error' (seen).
    Checked by: tests/published/test_gy_figures.py, tests/unit/core/test_sampling_error.py
    """
    spread = np.atleast_1d(numbers(heterogeneity_g, "heterogeneity_g", at_least=0.0))
    sample = np.atleast_1d(numbers(sample_mass_g, "sample_mass_g", above=0.0))
    spread, sample = together(heterogeneity_g=spread, sample_mass_g=sample)
    lot = np.asarray(np.inf if lot_mass_g is None else lot_mass_g, dtype=np.float64)
    if lot.ndim == 0:
        lot = np.concatenate([[float(lot)], sample[:-1]])
    stage = fundamental_error(heterogeneity_g=spread, sample_mass_g=sample, lot_mass_g=lot).relative_variance
    total = float(np.sum(stage))
    return StagedError(stage_relative_variance=stage, relative_variance=total, relative_sd=float(np.sqrt(total)))


def stage_masses_g(*, heterogeneity_g: ArrayLike, target_sd: float, safety_factor: float = 1.0) -> Any:
    """Mass to take at each of several stages so that together they meet the target.

    Each stage gets an equal part of the variance and comes from a very large lot; the safety factor multiplies
    the mass.

    Parameters
    ----------
    heterogeneity_g : array (k,) [g]
        Heterogeneity at the fragment size of each stage.
    target_sd : float [1]
        Relative standard deviation wanted of all stages together.
    safety_factor : float [1]
        Multiplies each mass, 1 or more.

    Returns
    -------
    array (k,) [g]

    Raises
    ------
    ImpossibleValue
        When a heterogeneity or the target is not more than 0, or the safety factor is less than 1.

    Valid for: as staged_error.
    Source: layout of the spreadsheet 'Gy: Sample size by Gy Formula' after Wills (1982): inputs and results (seen), the
        equal split (derived).
    Checked by: tests/published/test_gy_figures.py
    """
    spread = np.atleast_1d(numbers(heterogeneity_g, "heterogeneity_g", above=0.0))
    target = numbers(target_sd, "target_sd", above=0.0)
    safety = numbers(safety_factor, "safety_factor", at_least=1.0)
    return plain(safety * spread.size * spread / target**2)


def core_portion_variance(*, share: ArrayLike) -> Any:
    """Fundamental variance of bagging a share of the core, in units of heterogeneity over the mass of the whole core.

    1/share - 1: half core 1, quarter 3, eighth 7, whole core 0. Give the true share, slot left out, for a real cut.

    Parameters
    ----------
    share : float or array (n,) [1]
        Mass bagged over mass of the whole core, more than 0 and at most 1.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When the share is not more than 0 or is over 1.

    Valid for: a lower bound; core in one piece is no mixture of fragments, see limits_in_words.
    Source: fundamental_error with the whole core as lot (derived).
    Checked by: tests/unit/core/test_sampling_error.py
    """
    part = numbers(share, "share", above=0.0, at_most=1.0)
    return plain(1.0 / part - 1.0)


def duplicate_pair_variance(*, first_share: ArrayLike, second_share: ArrayLike) -> Any:
    """Variance of the relative difference of two portions of one core, in the same units as core_portion_variance.

    1/first + 1/second: half and half 4, half and quarter 6, quarter and quarter 8. Three kinds of pair, never to be
    pooled.

    Parameters
    ----------
    first_share : float or array (n,) [1]
        Share of the core in one bag.
    second_share : float or array (n,) [1]
        Share of the core in the other.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When a share is not more than 0, or the two together are more than the core.

    Valid for: two portions without common rock.
    Source: sampling without replacement, covariance of disjoint parts (derived).
    Checked by: tests/unit/core/test_sampling_error.py
    """
    first, second = together(
        first_share=numbers(first_share, "first_share", above=0.0, at_most=1.0),
        second_share=numbers(second_share, "second_share", above=0.0, at_most=1.0),
    )
    total = first + second
    refuse_where(
        total > 1.0 + 1e-9,
        total,
        "second_share",
        "of the core is the sum of both shares, more than all",
        "Check the two shares",
    )
    return plain(1.0 / first + 1.0 / second)


def grain_count(*, mean_grains: ArrayLike, within: float = 0.5, confidence: float = 0.95) -> GrainCount:
    """Scatter of a sample that holds so many grains on average, by Poisson's law.

    The grade goes with the number of grains, so their scatter is the scatter of the grade.

    Parameters
    ----------
    mean_grains : float or array (n,) [1]
        Grains expected in a sample.
    within : float [1]
        Half width of the band asked about, as a fraction of the mean.
    confidence : float [1]
        Probability inside the range of counts, the rest shared by both ends.

    Returns
    -------
    GrainCount
        .relative_sd (n,) [1], .chance_of_none (n,) [1], .low_count (n,) [1], .high_count (n,) [1],
        .chance_within (n,) [1] that the count is inside the band.

    Raises
    ------
    ImpossibleValue
        When the mean or the band is not more than 0, or the confidence is not between 0 and 1.

    Valid for: grains of one size, scattered at random, none clustered.
    Source: Poisson's law (derived); after Clifton et al. 1969, USGS Professional Paper 625-C (from memory).
    Checked by: tests/published/test_grain_counts.py
    """
    mean = numbers(mean_grains, "mean_grains", above=0.0)
    band = float(numbers(within, "within", above=0.0))
    level = float(numbers(confidence, "confidence", above=0.0, below=1.0))
    law = stats.poisson(mean)
    fewest = np.ceil(mean * (1.0 - band) - 1e-9)
    most = np.floor(mean * (1.0 + band) + 1e-9)
    return GrainCount(
        relative_sd=plain(1.0 / np.sqrt(mean)),
        chance_of_none=plain(np.exp(-mean)),
        low_count=plain(law.ppf(0.5 - level / 2.0)),
        high_count=plain(law.ppf(0.5 + level / 2.0)),
        chance_within=plain(law.cdf(most) - law.cdf(fewest - 1.0)),
    )


def mass_holding_grains_kg(
    *,
    grain_diameter_mm: ArrayLike,
    grade_ppm: ArrayLike,
    grains: ArrayLike = GRAINS_WANTED.value,
    grain_density_t_m3: ArrayLike = PURE_GOLD_T_M3.value,
) -> Any:
    """Mass of sample that holds a number of round grains on average.

    Mass of the grains over the grade.

    Parameters
    ----------
    grain_diameter_mm : float or array (n,) [mm]
        Diameter of the grains.
    grade_ppm : float or array (n,) [ppm]
        Grade by mass; grams per tonne are ppm.
    grains : float or array (n,) [1]
        Number of grains wanted.
    grain_density_t_m3 : float or array (n,) [t_m3]
        Density of the grains.

    Returns
    -------
    float or array (n,) [kg]

    Raises
    ------
    ImpossibleValue
        When any of them is not more than 0.

    Valid for: all of the grade in round grains of one size.
    Source: volume of a sphere (derived); 20 grains: Clifton et al. 1969, USGS Professional Paper 625-C (from memory).
    Checked by: tests/published/test_grain_counts.py
    """
    diameter, grade, count, density = together(
        grain_diameter_mm=numbers(grain_diameter_mm, "grain_diameter_mm", above=0.0),
        grade_ppm=numbers(grade_ppm, "grade_ppm", above=0.0),
        grains=numbers(grains, "grains", above=0.0),
        grain_density_t_m3=numbers(grain_density_t_m3, "grain_density_t_m3", above=0.0),
    )
    grain_g = np.pi / 6.0 * diameter**3 * density * 1e-3
    return plain(count * grain_g / grade * 1e3)


def grains_in_mass(
    *,
    sample_mass_kg: ArrayLike,
    grain_diameter_mm: ArrayLike,
    grade_ppm: ArrayLike,
    grain_density_t_m3: ArrayLike = PURE_GOLD_T_M3.value,
) -> Any:
    """Grains that a bag holds on average: mass_holding_grains_kg the other way round.

    Mass of the bag over the mass that holds one grain.

    Parameters
    ----------
    sample_mass_kg : float or array (n,) [kg]
        Mass of the bag.
    grain_diameter_mm : float or array (n,) [mm]
        Diameter of the grains.
    grade_ppm : float or array (n,) [ppm]
        Grade by mass.
    grain_density_t_m3 : float or array (n,) [t_m3]
        Density of the grains.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When any of them is not more than 0.

    Valid for: all of the grade in round grains of one size.
    Source: volume of a sphere (derived).
    Checked by: tests/published/test_grain_counts.py
    """
    mass = numbers(sample_mass_kg, "sample_mass_kg", above=0.0)
    one = mass_holding_grains_kg(
        grain_diameter_mm=grain_diameter_mm, grade_ppm=grade_ppm, grains=1.0, grain_density_t_m3=grain_density_t_m3
    )
    mass, each = together(sample_mass_kg=mass, grade_ppm=np.asarray(one))
    return plain(mass / each)


def limits_in_words() -> tuple[str, ...]:
    """What these figures cannot tell, in sentences to print beside them."""
    return (
        "The fundamental error is worked out for broken rock. Core in one piece is not broken rock.",
        "Grains sit in clusters and veins in core, so the true error of half core is at least this large, never less.",
        "At one gold mine (Homestake, US Bureau of Mines) the scatter of gold in core did not fall in step with the "
        "volume taken. Let the yard's own duplicates decide.",
        "The formula leaves out uneven cutting, fines lost in the slot, wrong halves and mixed tickets.",
        "For design the total error is taken as up to twice the fundamental one, as a variance.",
        "The factors are rough, the liberation factor most of all. For gold, calibrate the exponent on the ore itself.",
        "Grain counts assume round grains of one size spread at random. Flat, mixed or clustered grains scatter more.",
        "Half and half, half and quarter, and quarter and quarter pairs scatter differently. Never pool them.",
    )
