"""Parts of a circle cut off by one line or by two lines at right angles: areas and their slopes.

Private groundwork of `cut_geometry` and `bag_mass`: R is the radius, h (or a, b) the signed distance of a line
from the centre, the part kept is the one beyond the line. Arrays in, arrays out, no checking: the callers check.
Sources of the formulas: derived; checked against shapely polygons and scipy quadrature in tests/unit/core.
"""

from __future__ import annotations

import numpy as np

from trayside.core.refusals import Floats


def half_chord(radius: Floats, h: Floats) -> Floats:
    """Half the length of the line inside the circle; 0 when the line misses it."""
    return np.sqrt(np.maximum(radius - h, 0.0) * np.maximum(radius + h, 0.0))


def half_angle(radius: Floats, h: Floats) -> Floats:
    """acos(h/R) without the loss of digits near h = +R and -R; 0 and pi beyond."""
    gap = np.clip(radius - h, 0.0, 2.0 * radius)
    rest = np.clip(radius + h, 0.0, 2.0 * radius)
    return 2.0 * np.arctan2(np.sqrt(gap), np.sqrt(rest))


def angle_less_sine(angle: Floats) -> Floats:
    """x - sin x for 0 <= x <= 2 pi; by its series below 1, where the plain difference loses digits."""
    small = np.minimum(angle, 1.0)
    square = small * small
    series = np.ones_like(square)
    for step in range(8, 0, -1):
        n = 2 * step + 2
        series = 1.0 - square / (n * (n + 1)) * series
    return np.where(angle < 1.0, small * square / 6.0 * series, angle - np.sin(angle))


def segment(radius: Floats, h: Floats) -> Floats:
    """Area of the circle beyond a line at h: R^2 acos(h/R) - h sqrt(R^2 - h^2)."""
    return 0.5 * radius * radius * angle_less_sine(2.0 * half_angle(radius, h))


def strip(radius: Floats, middle: Floats, width: Floats) -> Floats:
    """Area of the circle inside a strip, by differences that stay exact for a very thin strip."""
    low = np.maximum(middle - width / 2.0, -radius)
    high = np.minimum(middle + width / 2.0, radius)
    chords = half_chord(radius, low) + half_chord(radius, high)
    inside = np.where(chords > 0.0, chords, 1.0)
    within = (low > -radius) & (high < radius)
    thin = np.where(within, width, high - low)  # high - low alone would lose the digits of a thin slot
    sides = 0.5 * thin * (chords - (low + high) ** 2 / inside)
    area = 2.0 * radius * radius * np.arctan2(thin, chords) + sides
    return np.where(chords > 0.0, area, np.where(thin > 0.0, np.pi * radius * radius, 0.0))


def segment_integral(radius: Floats, h: Floats) -> Floats:
    """G(h) with dG/dh = segment(h) and G(R) = 0; carried on beyond the rim on both sides."""
    inner = np.clip(h, -radius, radius)
    s = half_chord(radius, inner)
    within = radius**2 * (inner * half_angle(radius, inner) - s) + s**3 / 3.0
    return within + np.pi * radius**2 * np.minimum(h + radius, 0.0)


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)


def mean_segment(radius: Floats, h_start: Floats, h_end: Floats) -> Floats:
    """Mean area beyond a line that drifts evenly from h_start to h_end."""
    change = h_end - h_start
    nearly_still = np.abs(change) < 1e-5 * radius
    middle = 0.5 * (h_start + h_end)
    still = sum(0.5 * w * segment(radius, middle + 0.5 * x * change) for x, w in zip(_NODES, _WEIGHTS, strict=True))
    safe = np.where(nearly_still, 1.0, change)
    moving = (segment_integral(radius, h_end) - segment_integral(radius, h_start)) / safe
    return np.where(nearly_still, still, moving)


def corner(radius: Floats, a: Floats, b: Floats) -> Floats:
    """Area of the circle where x > a and y > b, wherever the corner (a, b) lies."""
    inside = a * a + b * b <= radius * radius
    a_in, b_in = np.where(inside, a, 0.0), np.where(inside, b, 0.0)
    angle = half_angle(radius, a_in) - (np.pi / 2.0 - half_angle(radius, b_in))
    wedge = 0.5 * (radius**2 * angle - a_in * half_chord(radius, a_in) - b_in * half_chord(radius, b_in)) + a_in * b_in
    whole = np.pi * radius**2
    # A corner outside the circle: the two lines do not meet inside it, and one, the other or both cut it.
    outside = np.select(
        [(a >= 0.0) & (b >= 0.0), a >= 0.0, b >= 0.0],
        [np.zeros_like(whole), segment(radius, a), segment(radius, b)],
        whole - segment(radius, -a) - segment(radius, -b),
    )
    return np.where(inside, np.maximum(wedge, 0.0), outside)


def corner_slopes(radius: Floats, a: Floats, b: Floats) -> tuple[Floats, Floats, Floats]:
    """Slopes of `corner` with R, a and b: the arc, and minus the two straight sides of the part."""
    side_x = half_chord(radius, a)
    side_y = half_chord(radius, b)
    length_a = np.clip(side_x - b, 0.0, 2.0 * side_x)
    length_b = np.clip(side_y - a, 0.0, 2.0 * side_y)
    inside = a * a + b * b <= radius * radius
    angle_a, angle_b = half_angle(radius, a), half_angle(radius, b)
    # Both lines at a negative distance that do not meet inside: what is left is the circle less two segments.
    outside = np.select(
        [(a >= 0.0) & (b >= 0.0), a >= 0.0, b >= 0.0],
        [np.zeros_like(angle_a), 2.0 * angle_a, 2.0 * angle_b],
        2.0 * (angle_a + angle_b - np.pi),
    )
    arc = radius * np.where(inside, angle_a + angle_b - np.pi / 2.0, outside)
    return arc, -length_a, -length_b
