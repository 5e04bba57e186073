"""Printed figures of the revised NIOSH lifting equation."""

from __future__ import annotations

from trayside.core.sources import Source

MANUAL = Source("NIOSH 94-110, Applications Manual, revised 9/2021", "pp. 6-28, public copy", "seen")
DURATIONS = ("short", "moderate", "long")
# Below 75 cm (30 in), and at or above it; p. 17.
COUPLINGS = {"good": (1.00, 1.00), "fair": (0.95, 1.00), "poor": (0.90, 0.90)}

FREQUENCIES = (0.2, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0)
# Table 5, p. 15: by duration and height of the hands at the start.
FREQUENCY_TABLE = {
    ("short", "low"):
        (1.00, .97, .94, .91, .88, .84, .80, .75, .70, .60, .52, .45, .41, .37, .00, .00, .00),
    ("short", "high"):
        (1.00, .97, .94, .91, .88, .84, .80, .75, .70, .60, .52, .45, .41, .37, .34, .31, .28),
    ("moderate", "low"):
        (.95, .92, .88, .84, .79, .72, .60, .50, .42, .35, .30, .26, .00, .00, .00, .00, .00),
    ("moderate", "high"):
        (.95, .92, .88, .84, .79, .72, .60, .50, .42, .35, .30, .26, .23, .21, .00, .00, .00),
    ("long", "low"):
        (.85, .81, .75, .65, .55, .45, .35, .27, .22, .18, .00, .00, .00, .00, .00, .00, .00),
    ("long", "high"):
        (.85, .81, .75, .65, .55, .45, .35, .27, .22, .18, .15, .13, .00, .00, .00, .00, .00),
}  # fmt: skip
