"""A control scheme held against one fault: its chances, the curve over sizes, and the rate it would need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trayside.core.scheme_design import (
    CONTAMINATION,
    ControlScheme,
    DesignCurve,
    DesignPower,
    Fault,
    LaboratoryModel,
    Recommendation,
    SchemeRules,
    design_curve,
    play_scheme,
    recommend_rate,
)

SIZES = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)
"""Sizes of the curve as multiples of the fault asked about."""
RATES = (0.01, 0.02, 0.03, 0.04, 0.05, 0.07, 0.1, 0.15, 0.2)


@dataclass(frozen=True, slots=True)
class DesignAsked:
    """A scheme, what the laboratory is like, the fault, and the chance wanted within a window."""

    scheme: ControlScheme
    laboratory: LaboratoryModel
    rules: SchemeRules
    fault: Fault
    target: float
    within: str
    campaigns: int
    seed: int


@dataclass(frozen=True, slots=True)
class DesignAnswer:
    asked: DesignAsked
    power: DesignPower
    curve: DesignCurve
    recommendation: Recommendation

    @property
    def controls(self) -> str:
        """The controls that see this kind of fault."""
        return "blanks" if self.asked.fault.kind == CONTAMINATION else "standards"


def answer_design(asked: DesignAsked) -> DesignAnswer:
    """Play it. The same seed gives the same answer."""
    more = {
        "laboratory": asked.laboratory,
        "rules": asked.rules,
        "campaigns": asked.campaigns,
        "seed": asked.seed,
    }
    now = asked.scheme.blank_rate if asked.fault.kind == CONTAMINATION else asked.scheme.standard_rate
    return DesignAnswer(
        asked=asked,
        power=play_scheme(scheme=asked.scheme, fault=asked.fault, **more),
        curve=design_curve(
            scheme=asked.scheme,
            kind=asked.fault.kind,
            sizes=np.array(SIZES) * asked.fault.size,
            lasts=asked.fault.lasts,
            **more,
        ),
        recommendation=recommend_rate(
            scheme=asked.scheme,
            fault=asked.fault,
            rates=sorted({*RATES, now}),
            target=asked.target,
            within=asked.within,
            **more,
        ),
    )
