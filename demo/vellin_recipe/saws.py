"""Saws and blades of the invented yard. No chance is in them, so nothing else of the yard moves when they change."""

from __future__ import annotations

SAWS = (
    ("SAW-1", "manual", 1425, 350, 120, "fresh", 3, 6, "bench saw, V-cradle and push block"),
    ("SAW-2", "automatic", 1425, 400, 140, "recirculated", 4, 8, "carriage saw, clamps the stick"),
    ("SPLIT-1", "splitter", "", "", "", "", "", "", "hydraulic, for core that would jam a blade"),
)
"""Saw, kind, spindle rpm, largest blade mm, flange mm, water, its maker's least and most L/min, remark."""

BLADES = (
    ("D-11", "M350", 350, 10, 4365, 24, 40, 3.2, 2.5, "medium", 210, 15, ""),
    ("D-12", "M350", 350, 10, 4365, 24, 40, 3.2, 2.5, "medium", 210, 15, "new, on the shelf"),
    ("D-13", "M350", 350, 10, "", 24, 40, 3.2, 2.5, "medium", 210, 15, "stamp worn off: never fit it"),
    ("D-21", "S400", 400, 12, 3800, 28, 40, 3.4, 2.5, "soft", 290, 20, ""),
    ("D-22", "S400", 400, 12, 1300, 28, 40, 3.4, 2.5, "soft", 290, 20, "stamped below the spindle of both saws"),
)
"""Blade, type, diameter mm, segment height mm, stamped rpm, segments, their length and width mm, kerf mm, bond, price, lead
days, remark."""
