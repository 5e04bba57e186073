"""What a hearing protector leaves at the ear, under a named method of counting its printed rating (NRR) down.

The printed rating is a laboratory figure. Each method takes less of it, and they do not agree: say which one was used.

    method      A-weighted level              C-weighted level
    osha_app_b  NRR - 7                       NRR
    osha_half   half of (NRR - 7)             half of NRR
    niosh       k NRR - 7, k 0.75/0.50/0.30   k NRR              k by kind: muff, foam plug, other plug
    csa         k NRR - 3, k 0.70/0.50        k NRR              k by kind: muff, plug
"""

from __future__ import annotations

from dataclasses import dataclass

from trayside.core.number_lists import one_number
from trayside.core.planning_aid import PLANNING_AID
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

KINDS = ("muff", "foam plug", "other plug")
METHODS = {
    "osha_app_b": Source("29 CFR 1910.95", "Appendix B", "seen"),
    "osha_half": Source("OSHA enforcement guidance", "half the rating in the field; not in Appendix B", "seen"),
    "niosh": Source(
        "NIOSH 98-126", "derating by kind (seen second-hand); 7 dB for A-weighting from memory", "from memory"
    ),
    "csa": Source("CSA Z94.2-14", "derating by kind, as described by others", "seen"),
}
_SHARE = {
    "niosh": {"muff": 0.75, "foam plug": 0.50, "other plug": 0.30},
    "csa": {"muff": 0.70, "foam plug": 0.50, "other plug": 0.50},
}
_A_WEIGHT_DB = {"osha_app_b": 7.0, "osha_half": 7.0, "niosh": 7.0, "csa": 3.0}
DUAL_DB = 5.0  # Appendix B practice: 5 dB on the better of two protectors worn together
HIGHEST_USUAL_NRR_DB = 33.0  # printed ratings above this are odd


@dataclass(frozen=True, slots=True)
class ProtectedEar:
    """Estimated level behind the protector, the credit taken, and how."""

    level_dba: float
    credit_db: float
    method: str
    source: Source
    enough: bool
    flags: tuple[str, ...]
    says: str
    caution: str = PLANNING_AID


def protected_level(
    *,
    level_db: float,
    weighting: str,
    nrr_db: float,
    method: str,
    kind: str | None = None,
    dual: bool = False,
    target_dba: float = 90.0,
) -> ProtectedEar:
    """Estimated level at the ear behind a protector.

    Level less the credit of the method. With two protectors worn together (osha methods only) 5 dB are added to the
    credit of the better one.

    Parameters
    ----------
    level_db : float
        Mean level of the day, A- or C-weighted.
    weighting : str
        A or C.
    nrr_db : float
        Printed rating; of the better one when two are worn.
    method : str
        osha_app_b, osha_half, niosh or csa.
    kind : str or None
        muff, foam plug or other plug; needed for niosh and csa.
    dual : bool
        Muffs over plugs.
    target_dba : float [dba]
        Level that must be reached: 90, or 85 after a change of hearing (1910.95(j)).

    Returns
    -------
    ProtectedEar
        .level_dba [dba], .credit_db, .method, .source, .enough, .flags, .says, .caution

    Raises
    ------
    ImpossibleValue
        When the method, weighting or kind is not known, a number is impossible, or two protectors are asked of a method
        whose rule for them was not found.

    Valid for: well fitted protectors; an estimate, never a measurement at the ear.
    Source: 29 CFR 1910.95 Appendix B and (j) (seen); NIOSH derating (seen second-hand), its 7 dB from memory; CSA
        Z94.2-14 as described (seen second-hand).
    Checked by: tests/published/test_hearing_protectors_published.py, tests/unit/core/test_hearing_protectors.py
    """
    level = one_number(level_db, "level_db", at_least=0.0, at_most=194.0)
    rating = one_number(nrr_db, "nrr_db", at_least=0.0, at_most=60.0)
    target = one_number(target_dba, "target_dba", at_least=0.0)
    if method not in METHODS:
        raise ImpossibleValue(f"no method {method!r}", where="method", remedy=f"Use one of: {', '.join(METHODS)}")
    if weighting not in ("A", "C"):
        raise ImpossibleValue(f"weighting {weighting!r}", where="weighting", remedy="Use A or C")
    off = _A_WEIGHT_DB[method] if weighting == "A" else 0.0
    if method in _SHARE:
        if kind not in KINDS:
            raise ImpossibleValue(f"kind {kind!r}", where="kind", remedy=f"Use one of: {', '.join(KINDS)}")
        if dual:
            raise ImpossibleValue(
                f"no rule of {method} for two protectors was found",
                where="dual",
                remedy="Use osha_app_b or osha_half, or count the better one alone",
            )
        credit = _SHARE[method][kind] * rating - off
    else:
        credit = (rating - off) * (0.5 if method == "osha_half" else 1.0) + (DUAL_DB if dual else 0.0)
    flags = []
    if credit <= 0.0:
        flags.append("This method gives the protector no credit at all: do not rely on it")
    if rating > HIGHEST_USUAL_NRR_DB:
        flags.append(f"A rating of {rating:g} dB is unusually high: read the label again")
    after = level - credit
    if after < 70.0 and credit > 0.0:
        flags.append("Below 70 dBA: so quiet that warnings may not be heard")
    enough = after <= target + 1e-9
    says = (
        f"About {after:.1f} dBA behind the protector by {method}: {'not above' if enough else 'above'} {target:g} dBA."
    )
    return ProtectedEar(after, credit, method, METHODS[method], enough, tuple(flags), says)
