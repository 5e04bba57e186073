"""Narrow veins kept apart from their walls: which boundaries they force.

A vein thick enough is a sample of its own, even when that is shorter than the usual minimum. A thinner one is
widened to the minimum, half on each side. Nothing leaves its block, and a block ends at every hard contact, isolated
loss, change of core size and end of stretch.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class HeldVein:
    """One sample-to-be round a vein, in micrometres: its outline, the vein itself, and the block it lies in."""

    block: int
    top: int
    bottom: int
    vein_top: int
    vein_bottom: int
    thick: bool


def hold_veins(*, blocks: np.ndarray, vein: np.ndarray, steps) -> tuple[list[HeldVein], list[tuple]]:
    """Outlines of the veins in each block, and notes (code, from, to, found, limit) in micrometres."""
    held: list[HeldVein] = []
    notes: list[tuple] = []
    if len(vein) == 0:
        return held, notes
    parts: dict[int, list[tuple[int, int]]] = {}
    for a, b in vein.tolist():
        first = int(np.searchsorted(blocks[:, 1], a, "right"))
        last = int(np.searchsorted(blocks[:, 0], b, "left"))
        if first >= last:
            notes.append(("vein outside sampled core", a, b, b - a, steps.minimum))
        for number in range(first, last):
            parts.setdefault(number, []).append((max(a, int(blocks[number, 0])), min(b, int(blocks[number, 1]))))
    for number, found in sorted(parts.items()):
        groups = _joined(found, steps, notes)
        top_limit, block_bottom = (int(depth) for depth in blocks[number])
        for place, (a, b, thick) in enumerate(groups):
            bottom_limit = groups[place + 1][0] if place + 1 < len(groups) else block_bottom
            top, bottom = (a, b) if thick else _widened(a, b, top_limit, bottom_limit, steps)
            if (top, bottom) != (a, b):
                notes.append(("vein widened", top, bottom, b - a, steps.minimum))
            elif thick and b - a < steps.minimum:
                notes.append(("vein below minimum length", a, b, b - a, steps.minimum))
            held.append(HeldVein(number, top, bottom, a, b, thick))
            top_limit = bottom
    return held, notes


def _joined(parts: list[tuple[int, int]], steps, notes: list[tuple]) -> list[tuple[int, int, bool]]:
    """Veins of one block; those too close to be sampled apart become one."""
    groups: list[tuple[int, int, bool]] = []
    for a, b in parts:
        one = (a, b, b - a >= min(steps.minimum_vein, steps.minimum))
        while groups and _too_close(groups[-1], one, steps):
            above = groups.pop()
            top, bottom = min(above[0], one[0]), max(above[1], one[1])
            if one[0] > above[1]:
                notes.append(("veins joined", top, bottom, one[0] - above[1], steps.minimum))
            one = (top, bottom, above[2] or one[2] or bottom - top >= steps.minimum)
        groups.append(one)
    return groups


def _too_close(above: tuple[int, int, bool], below: tuple[int, int, bool], steps) -> bool:
    """True when the ground left between two vein samples would be shorter than the minimum."""
    if above[1] == below[0] and above[2] and below[2]:
        return False
    gap = below[0] - above[1]
    for a, b, thick in (above, below):
        gap -= 0 if thick else (steps.minimum - (b - a)) // 2
    return gap < steps.minimum


def _widened(a: int, b: int, top_limit: int, bottom_limit: int, steps) -> tuple[int, int]:
    """A thin vein made the minimum length within its limits, on the step, swallowing slivers below the minimum."""
    step, minimum = steps.step, steps.minimum
    extra = minimum - (b - a)
    top = max(top_limit, (a - extra // 2) // step * step)
    bottom = min(bottom_limit, -(-max(b + extra // 2, top + minimum) // step) * step)
    if bottom - top < minimum:
        top = max(top_limit, (bottom - minimum) // step * step)
    if 0 < top - top_limit < minimum and bottom - top_limit <= steps.maximum:
        top = top_limit
    if 0 < bottom_limit - bottom < minimum and bottom_limit - top <= steps.maximum:
        bottom = bottom_limit
    return top, bottom
