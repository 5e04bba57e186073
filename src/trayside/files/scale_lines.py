"""Lines of a scale that sends all the time, one line a reading: 'ST,GS,+  2.315kg'.

ST stands still, US does not, OL is too much; GS is gross, NT net (a text form many indicators can be set to, common
practice, no source). Which words mean what, and the shape of the line, are settings.
"""

from __future__ import annotations

import re

from trayside.app.scale_port import Reading
from trayside.core.units import POUND_G
from trayside.errors import ImpossibleValue
from trayside.model.rules import ScaleSettings

LONGEST_LINE = 200
GRAMS_PER_UNIT = {"kg": 1000.0, "g": 1.0, "lb": float(POUND_G), "oz": float(POUND_G) / 16}
"""oz is the ordinary ounce of scales, a sixteenth of a pound, not the troy ounce."""


def read_line(line: str, settings: ScaleSettings) -> Reading:
    """The reading in a line; ImpossibleValue when the line has another shape or no number where one must be."""
    found = re.search(settings.pattern, line[:LONGEST_LINE])
    if found is None:
        raise _refused(line, "it does not have the shape of a reading")
    parts = found.groupdict()
    word = (parts["stable"] or "").strip()
    kind = (parts.get("kind") or "").strip()
    net = True if kind in settings.net_words else False if kind in settings.gross_words else None
    if word in settings.over_words:
        return Reading(0.0, False, net, over=True)
    unit = (parts.get("unit") or settings.unit).strip()
    if unit not in GRAMS_PER_UNIT:
        raise _refused(line, f"the unit {unit!a} is not known")
    try:
        mass = float("".join((parts["mass"] or "").split()).replace(",", "."))
    except ValueError as error:
        raise _refused(line, "there is no number in it") from error
    return Reading(mass * GRAMS_PER_UNIT[unit], word in settings.stable_words, net)


def _refused(line: str, what: str) -> ImpossibleValue:
    return ImpossibleValue(what, where=f"scale line {line[:60]!a}", remedy="Set the pattern in the rules, bench.scale")
