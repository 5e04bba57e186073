"""The cheapest way to cut one segment, by dynamic programming over every position of the step.

The best cost down to a position needs only positions at least one minimum length above it. So all positions within one
minimum length of each other are found at once, as one array operation, and a segment of any length takes one operation
per minimum length.
"""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from trayside.core.interval_costs import CostBook
from trayside.errors import ImpossibleValue

_NEVER = 2**61  # dearer than any plan, with room to add to it
_HALF_NEVER = _NEVER // 2


def cheapest_cuts(a: int, b: int, *, shortest: int, longest: int, book: CostBook, weigh_bags: bool) -> list[int] | None:
    """Cuts strictly between two depths, in micrometres, or None when no allowed lengths fill the segment.

    Of equally cheap ways the one whose last cut is shallowest is taken, then the cut before it, and so on upward.
    """
    allowed = shortest <= b - a <= longest
    step = book.steps.step
    x = np.arange(a // step + 1, -(-b // step)) * step
    if b - a < 2 * shortest or len(x) == 0:
        return [] if allowed else None
    node = book.boundary(x) + book.crossed_before(x) - book.crossed_upto(x)
    mass = book.mass_above(x) if weigh_bags else None
    bags = min(len(x) + 1, (b - a) // shortest)
    outside = _above_all(a, b, shortest, longest, bags=bags, book=book, weigh_bags=weigh_bags)
    from_start = _from_start(a, x, shortest, longest, mass, book, outside)

    least, most = -(-shortest // step), longest // step
    span, n = most - least + 1, len(x)
    if span < 1:  # no two positions are an allowed length apart: at most one cut
        column, open_cost = np.full(n, -1), np.concatenate([np.full(most, _NEVER), from_start + node])
    else:
        column = np.empty(n, dtype=np.int64)
        # open_cost[most + i] is the best cost down to position i, ready for the interval that starts there.
        open_cost = np.full(most + n, _NEVER, dtype=np.int64)
        length = np.arange(most, least - 1, -1) * step
        price = book.length(length)
        starts = sliding_window_view(open_cost, span)
        masses = sliding_window_view(np.concatenate([np.zeros(most, np.int64), mass]), span) if weigh_bags else None
        row = np.arange(least)
        for p in range(0, n, least):
            q = min(p + least, n)
            price_to = starts[p:q] + price
            if weigh_bags:
                price_to += book.bag(mass[p:q, None] - masses[p:q], length, each_outside=outside)
            cheapest = price_to.argmin(axis=1)
            best = price_to[row[: q - p], cheapest]
            if p <= most:  # near enough to be reached from the start of the segment
                direct = from_start[p:q] <= best
                best, cheapest = np.where(direct, from_start[p:q], best), np.where(direct, -1, cheapest)
            column[p:q] = cheapest
            open_cost[most + p : most + q] = best + node[p:q]

    first, last = int(np.searchsorted(x, b - longest, "left")), int(np.searchsorted(x, b - shortest, "right"))
    here = x[first:last]
    price_end = open_cost[most + first : most + last] + book.length(b - here)
    if weigh_bags:
        price_end += book.bag(book.mass_above(np.array(b)) - mass[first:last], b - here, each_outside=outside)
    at = int(price_end.argmin()) if last > first else -1
    whole = _NEVER
    if allowed:
        whole = _bagless(a, b, book)
        if weigh_bags:
            ends_mass = book.mass_above(np.array([a, b]))
            whole += int(book.bag(ends_mass[1] - ends_mass[0], b - a, each_outside=outside))
    total = int(price_end[at]) + int(book.crossed_before(np.array(b))) if at >= 0 else _NEVER
    if min(whole, total) >= _HALF_NEVER:
        return None
    if whole <= total:
        return []
    cuts, place = [], first + at
    while place >= 0:
        cuts.append(int(x[place]))
        place = place - most + int(column[place]) if column[place] >= 0 else -1
    return cuts[::-1]


def _above_all(a: int, b: int, shortest: int, longest: int, *, bags: int, book: CostBook, weigh_bags: bool) -> int:
    """More than all other costs of any way to cut the segment: the price of one bag outside a limit.

    So the whole numbers compare by the count of such bags first; a sum too large for them is refused.
    """
    dearest = int(book.length(np.array([shortest, longest])).max()) + book.off_round + book.in_loss
    if weigh_bags:
        heaviest = int(book.mass_rate.max()) * longest
        dearest += int(book.bag(np.array([0, heaviest]), np.array([longest, longest])).sum())
    everything = dearest * bags + int(book.crossing(np.array([a]), np.array([b]))[0])
    worst = everything + (bags * (everything + 1) if weigh_bags else 0)
    if worst >= _HALF_NEVER:
        raise ImpossibleValue(
            "the costs of one stretch add up to more than can be counted exactly",
            where="interval rules",
            remedy="Only the ratios of the costs matter: give smaller ones",
        )
    return everything + 1


def _bagless(a: int, b: int, book: CostBook) -> int:
    """Price of one interval without its bag."""
    top, bottom = np.array([a]), np.array([b])
    return int((book.length(bottom - top) + book.crossing(top, bottom))[0])


def _from_start(
    a: int, x: np.ndarray, shortest: int, longest: int, mass: np.ndarray | None, book: CostBook, outside: int
) -> np.ndarray:
    """Price of a first interval that ends at each position, never when its length is not allowed.

    The crossings above each position are added later with the position, so only those above the start come off here.
    """
    price = np.full(len(x), _NEVER, dtype=np.int64)
    first, last = int(np.searchsorted(x, a + shortest, "left")), int(np.searchsorted(x, a + longest, "right"))
    end = x[first:last]
    price[first:last] = book.length(end - a) - book.crossed_upto(np.array(a))
    if mass is not None:
        price[first:last] += book.bag(mass[first:last] - book.mass_above(np.array(a)), end - a, each_outside=outside)
    return price
