"""What every figure about the saw and the person at it is, and is not; limits from law with their document and date."""

from __future__ import annotations

from dataclasses import dataclass

from trayside.core.sources import Source

PLANNING_AID = (
    "A planning aid, not a measurement and not a permit. Local law, the maker's manual and licensed or competent people "
    "come first."
)


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit or action value: who set it, in which document of which date, and when it is reached.

    `reached` is "above" (the value itself is still allowed) or "at or above". `binding` is False for a recommendation.
    `date_grade` says how well the date is known, in the words of `sources.GRADES`.
    """

    name: str
    jurisdiction: str
    value: float  # in the unit of the list it stands in
    reached: str
    binding: bool
    source: Source
    date: str
    date_grade: str
    note: str = ""

    def is_reached_by(self, value: float) -> bool:
        """Whether this value is at or above (or above) the limit; the last digits of a sum are not a breach."""
        slack = 1e-9 * abs(self.value)
        return value >= self.value - slack if self.reached == "at or above" else value > self.value + slack
