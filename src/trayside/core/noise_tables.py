"""Printed noise figures: OSHA's table of hours, and limits with document and date."""

from __future__ import annotations

from trayside.core.planning_aid import Limit
from trayside.core.sources import Source

G16A_SOURCE = Source("29 CFR 1910.95", "Appendix A, Table G-16a (current page)", "seen")
# 83 dBA is printed 21.2; an older page of the same table and the formula have 21.1.
G16A_HOURS = dict(
    zip(
        [float(level) for level in range(80, 131)],
        [
            32.0, 27.9, 24.3, 21.2, 18.4, 16.0, 13.9, 12.1, 10.6, 9.2,
            8.0, 7.0, 6.1, 5.3, 4.6, 4.0, 3.5, 3.0, 2.6, 2.3,
            2.0, 1.7, 1.5, 1.3, 1.1, 1.0, 0.87, 0.76, 0.66, 0.57,
            0.5, 0.44, 0.38, 0.33, 0.29, 0.25, 0.22, 0.19, 0.16, 0.14,
            0.125, 0.11, 0.095, 0.082, 0.072, 0.063, 0.054, 0.047, 0.041, 0.036,
            0.031,
        ],
        strict=True,
    )
)  # fmt: skip

_MEMORY = "from memory"
NOISE_LIMITS = (
    Limit(
        "osha action level", "United States", 85.0, "at or above", True,
        Source("29 CFR 1910.95(c)", "8 h mean, half a dose", "seen"), "8 March 1983 (48 FR 9738)", _MEMORY,
    ),
    Limit(
        "osha limit", "United States", 90.0, "above", True,
        Source("29 CFR 1910.95(b)", "Table G-16, a full dose", _MEMORY), "1971 (as adopted)", _MEMORY,
    ),
    Limit(
        "niosh recommended limit", "United States", 85.0, "at or above", False,
        Source("NIOSH 98-126", "recommended exposure limit", "seen"), "June 1998", _MEMORY, "a recommendation",
    ),
    Limit(
        "lex8 lower action value", "European Union, Great Britain", 80.0, "at or above", True,
        Source("Directive 2003/10/EC; Control of Noise at Work Regulations 2005", "lower action value, HSE card", "seen"),
        "6 February 2003; 2005", _MEMORY,
    ),
    Limit(
        "lex8 upper action value", "European Union, Great Britain", 85.0, "at or above", True,
        Source("Directive 2003/10/EC; Control of Noise at Work Regulations 2005", "upper action value, HSE card", "seen"),
        "6 February 2003; 2005", _MEMORY,
    ),
    Limit(
        "lex8 standard", "Australia", 85.0, "above", True,
        Source("model Work Health and Safety Regulations", "exposure standard for noise", _MEMORY), "2011", _MEMORY,
        "also peak 140 dB(C), which an average cannot show",
    ),
)  # fmt: skip
# Held against the level behind the protector, not the level at the open ear.
PROTECTED_LIMIT = Limit(
    "lex8 limit value, with protectors", "European Union, Great Britain", 87.0, "above", True,
    Source("Directive 2003/10/EC", "exposure limit value", _MEMORY), "6 February 2003", _MEMORY,
)  # fmt: skip
