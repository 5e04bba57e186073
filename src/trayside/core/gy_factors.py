"""The factors of Gy's formula: shape, size range, liberation and mineral content, each with its document.

Masses in grams, sizes in millimetres; the formula itself counts sizes in centimetres, which is done inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import numbers, plain, refuse_where, together
from trayside.core.sources import Source, SourcedNumber
from trayside.errors import ImpossibleValue

COURSE_NOTE = Source("course note CM3820 'Sampling' (14 January 2009)", "table of factors", "seen")
EPA_GUIDE = Source("EPA/600/R-03/027 (Gerlach & Nocerino 2003)", "table of factors", "from memory")
GY_ROOT = Source("Gy's square root; reproduces the figures of Wills (1982)", "liberation", "derived")
GOLD_EXPONENT = Source(
    "'A generalised form of Gy's equation for gold ores', AusIMM, 9 May 2017", "abstract: usual choice 1.5", "seen"
)
MINERAL_FORMULA = Source("Gy's mineral factor; reproduces the figures of Wills (1982)", "composition", "derived")

SHAPE_FACTORS: dict[str, SourcedNumber] = {
    "most natural rock": SourcedNumber(0.5, COURSE_NOTE),
    "flat or long grains": SourcedNumber(0.2, COURSE_NOTE),
    "cube": SourcedNumber(1.0, EPA_GUIDE),
    "sphere": SourcedNumber(0.524, EPA_GUIDE),
    "flakes": SourcedNumber(0.1, EPA_GUIDE),
    "soft nuggets": SourcedNumber(0.2, EPA_GUIDE),
}

GRANULOMETRIC_FACTORS: dict[str, SourcedNumber] = {
    "crushed, not sieved": SourcedNumber(0.25, EPA_GUIDE),
    "between two consecutive sieves": SourcedNumber(0.55, EPA_GUIDE),
    "naturally sorted": SourcedNumber(0.75, EPA_GUIDE),
    "one size": SourcedNumber(1.0, EPA_GUIDE),
}

LIBERATION_BY_EYE: dict[str, SourcedNumber] = {
    "very heterogeneous": SourcedNumber(0.8, EPA_GUIDE),
    "heterogeneous": SourcedNumber(0.4, EPA_GUIDE),
    "average": SourcedNumber(0.2, EPA_GUIDE),
    "homogeneous": SourcedNumber(0.1, EPA_GUIDE),
    "very homogeneous": SourcedNumber(0.05, EPA_GUIDE),
}

USUAL_GOLD_EXPONENT = SourcedNumber(1.5, GOLD_EXPONENT)
LIBERATION_MODELS = ("square root", "power", "by eye")


@dataclass(frozen=True, slots=True)
class GyConstants:
    """Everything about an ore that Gy's formula needs; replace any of it, with the document it came from.

    `liberation_size` is in millimetres, densities in t/m3, the exponent is the b of (size ratio)^b.
    """

    liberation_size_mm: SourcedNumber
    mineral_density_t_m3: SourcedNumber
    gangue_density_t_m3: SourcedNumber
    shape: SourcedNumber = SHAPE_FACTORS["most natural rock"]
    granulometric: SourcedNumber = GRANULOMETRIC_FACTORS["crushed, not sieved"]
    liberation_model: str = "square root"
    liberation_exponent: SourcedNumber = USUAL_GOLD_EXPONENT
    liberation_by_eye: SourcedNumber = LIBERATION_BY_EYE["average"]

    def __post_init__(self) -> None:
        if self.liberation_model not in LIBERATION_MODELS:
            raise ImpossibleValue(
                f"no liberation model {self.liberation_model!r}",
                where="liberation_model",
                remedy=f"Use one of {', '.join(LIBERATION_MODELS)}",
            )
        for name in (
            "liberation_size_mm",
            "mineral_density_t_m3",
            "gangue_density_t_m3",
            "shape",
            "liberation_exponent",
        ):
            numbers(getattr(self, name).value, name, above=0.0)
        for name in ("granulometric", "liberation_by_eye"):
            numbers(getattr(self, name).value, name, above=0.0, at_most=1.0)


def granulometric_factor(*, size_ratio: ArrayLike) -> Any:
    """Granulometric factor from the spread of fragment sizes.

    Classes of the ratio of the 95 % size to the 5 % size: over 4 gives 0.25, 2 to 4 gives 0.5, under 2 gives 0.75, and
    exactly 1 gives 1.

    Parameters
    ----------
    size_ratio : float or array (n,) [1]
        Size that 95 % pass over size that 5 % pass, 1 or more.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When the ratio is less than 1.

    Valid for: broken rock.
    Source: course note CM3820 'Sampling' (14 January 2009), table of factors (seen).
    Checked by: tests/published/test_gy_figures.py
    """
    ratio = numbers(size_ratio, "size_ratio", at_least=1.0)
    return plain(np.select([ratio > 4.0, ratio >= 2.0, ratio > 1.0], [0.25, 0.5, 0.75], 1.0))


def liberation_by_root(*, liberation_size_mm: ArrayLike, top_size_mm: ArrayLike) -> Any:
    """Liberation factor as the square root of the size ratio.

    1 once the fragments are as small as the mineral grains, else sqrt(liberation size / top size).

    Parameters
    ----------
    liberation_size_mm : float or array (n,) [mm]
        Size at which the mineral is free of the gangue.
    top_size_mm : float or array (n,) [mm]
        Size that 95 % of the fragments pass.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When a size is not more than 0.

    Valid for: base-metal ores; for gold calibrate the exponent and use liberation_by_power.
    Source: Gy's square root; reproduces the figures of Wills (1982) (derived).
    Checked by: tests/published/test_gy_figures.py
    """
    return liberation_by_power(liberation_size_mm=liberation_size_mm, top_size_mm=top_size_mm, exponent=0.5)


def liberation_by_power(*, liberation_size_mm: ArrayLike, top_size_mm: ArrayLike, exponent: ArrayLike) -> Any:
    """Liberation factor as a power of the size ratio.

    1 once the fragments are as small as the mineral grains, else (liberation size / top size) ^ exponent. The exponent
    is 3 less the alpha of a calibration.

    Parameters
    ----------
    liberation_size_mm : float or array (n,) [mm]
        Size at which the mineral is free of the gangue.
    top_size_mm : float or array (n,) [mm]
        Size that 95 % of the fragments pass.
    exponent : float or array (n,) [1]
        Calibrated exponent, more than 0 and at most 3.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When a size is not more than 0 or the exponent is outside 0 to 3.

    Valid for: the sizes over which the exponent was calibrated.
    Source: Francois-Bongarcon 1993, 1998, and with Gy 2001 (from memory); 1.5 as the usual choice: abstract of 'A
        generalised form of Gy's equation for gold ores', AusIMM 2017 (seen).
    Checked by: tests/unit/core/test_sampling_error.py
    """
    grain, top, power = together(
        liberation_size_mm=numbers(liberation_size_mm, "liberation_size_mm", above=0.0),
        top_size_mm=numbers(top_size_mm, "top_size_mm", above=0.0),
        exponent=numbers(exponent, "exponent", above=0.0, at_most=3.0),
    )
    return plain(np.where(top <= grain, 1.0, (grain / top) ** power))


def mineral_factor(
    *, mineral_mass_fraction: ArrayLike, mineral_density_t_m3: ArrayLike, gangue_density_t_m3: ArrayLike
) -> Any:
    """Mineral (composition) factor c of Gy's formula.

    c = (1-a)/a x [(1-a) r + a t] with a the mass fraction of the mineral, r its density and t that of the gangue.

    Parameters
    ----------
    mineral_mass_fraction : float or array (n,) [1]
        Mass fraction of the mineral: grade of the ore over grade of the pure mineral.
    mineral_density_t_m3 : float or array (n,) [t_m3]
        Density of the mineral.
    gangue_density_t_m3 : float or array (n,) [t_m3]
        Density of the rest.

    Returns
    -------
    float or array (n,) [t_m3]

    Raises
    ------
    ImpossibleValue
        When the fraction is not more than 0 or is over 1, or a density is not more than 0.

    Valid for: two kinds of grain, mineral and gangue.
    Source: Gy's mineral factor; reproduces the figures of Wills (1982) (derived).
    Checked by: tests/published/test_gy_figures.py, tests/unit/core/test_sampling_error.py
    """
    a, mineral, gangue = together(
        mineral_mass_fraction=numbers(mineral_mass_fraction, "mineral_mass_fraction", above=0.0, at_most=1.0),
        mineral_density_t_m3=numbers(mineral_density_t_m3, "mineral_density_t_m3", above=0.0),
        gangue_density_t_m3=numbers(gangue_density_t_m3, "gangue_density_t_m3", above=0.0),
    )
    return plain((1.0 - a) / a * ((1.0 - a) * mineral + a * gangue))


def mineral_factor_of_trace(*, mineral_mass_fraction: ArrayLike, mineral_density_t_m3: ArrayLike) -> Any:
    """Mineral factor in the limit of a trace: density over mass fraction.

    What mineral_factor tends to when the fraction is very small, as for gold at some grams per tonne.

    Parameters
    ----------
    mineral_mass_fraction : float or array (n,) [1]
        Mass fraction of the mineral, small.
    mineral_density_t_m3 : float or array (n,) [t_m3]
        Density of the mineral.

    Returns
    -------
    float or array (n,) [t_m3]

    Raises
    ------
    ImpossibleValue
        When the fraction is not more than 0 or is over 1 %, where the short form is wrong.

    Valid for: fractions up to 0.01.
    Source: Pitard (from memory); limit of mineral_factor (derived).
    Checked by: tests/unit/core/test_sampling_error.py
    """
    fraction, density = together(
        mineral_mass_fraction=numbers(mineral_mass_fraction, "mineral_mass_fraction", above=0.0),
        mineral_density_t_m3=numbers(mineral_density_t_m3, "mineral_density_t_m3", above=0.0),
    )
    refuse_where(fraction > 0.01, fraction, "mineral_mass_fraction", "is no trace", "Use mineral_factor instead")
    return plain(density / fraction)


def heterogeneity(*, constants: GyConstants, top_size_mm: ArrayLike, mineral_mass_fraction: ArrayLike) -> Any:
    """Heterogeneity of broken ore: shape x size range x mineral x liberation x top size cubed.

    The number that, divided by the sample mass, gives the relative variance of the fundamental error.

    Parameters
    ----------
    constants : GyConstants
        The ore's factors, each with its source.
    top_size_mm : float or array (n,) [mm]
        Size that 95 % of the fragments pass.
    mineral_mass_fraction : float or array (n,) [1]
        Mass fraction of the mineral.

    Returns
    -------
    float or array (n,) [g]

    Raises
    ------
    ImpossibleValue
        When a size or fraction is impossible.

    Valid for: broken rock, not whole core.
    Source: Gy, Sampling of Particulate Materials (1979) (from memory); product form in course note CM3820 (seen).
    Checked by: tests/published/test_gy_figures.py
    """
    top = numbers(top_size_mm, "top_size_mm", above=0.0)
    grain = constants.liberation_size_mm.value
    if constants.liberation_model == "square root":
        liberation = liberation_by_root(liberation_size_mm=grain, top_size_mm=top)
    elif constants.liberation_model == "power":
        liberation = liberation_by_power(
            liberation_size_mm=grain, top_size_mm=top, exponent=constants.liberation_exponent.value
        )
    else:
        liberation = constants.liberation_by_eye.value
    mineral = mineral_factor(
        mineral_mass_fraction=mineral_mass_fraction,
        mineral_density_t_m3=constants.mineral_density_t_m3.value,
        gangue_density_t_m3=constants.gangue_density_t_m3.value,
    )
    return plain(
        np.asarray(constants.shape.value * constants.granulometric.value * mineral * liberation * (top / 10.0) ** 3)
    )


def heterogeneity_from_calibration(*, constant_k_g: ArrayLike, alpha: ArrayLike, top_size_mm: ArrayLike) -> Any:
    """Heterogeneity from a calibration: K times the top size in centimetres to the power alpha.

    K and alpha come from an experiment on the ore itself; they have no default here.

    Parameters
    ----------
    constant_k_g : float or array (n,) [g]
        K for sizes counted in centimetres.
    alpha : float or array (n,) [1]
        Calibrated power, more than 0 and at most 3.
    top_size_mm : float or array (n,) [mm]
        Size that 95 % of the fragments pass.

    Returns
    -------
    float or array (n,) [g]

    Raises
    ------
    ImpossibleValue
        When K or the size is not more than 0, or alpha is outside 0 to 3.

    Valid for: the sizes and grades of the calibration.
    Source: generalised Gy formula, Francois-Bongarcon 1993, 1998 (from memory); K and alpha vary widely from ore to
        ore: abstract, AusIMM 2017 (seen).
    Checked by: tests/unit/core/test_sampling_error.py
    """
    k, power, top = together(
        constant_k_g=numbers(constant_k_g, "constant_k_g", above=0.0),
        alpha=numbers(alpha, "alpha", above=0.0, at_most=3.0),
        top_size_mm=numbers(top_size_mm, "top_size_mm", above=0.0),
    )
    return plain(k * (top / 10.0) ** power)
