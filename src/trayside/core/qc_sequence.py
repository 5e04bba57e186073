"""Where the controls of one hole go: the walk over its tickets, laboratory rack by laboratory rack.

Standards and blanks are due once in each block of n tickets, at a ticket drawn by chance within the block. A blank
also stands straight behind the last sample of a high run and behind the best sample of each rack. Where that best
sample lies in a high run that ends in the same rack, the blank behind the run is its blank too. A rack is walked with
what is known so far; when it then breaks a rule (no standard, its best sample has no blank, a blank would slip into
the first place of the next rack) the missing control is pinned to a sample and the rack is walked again. Materials and
words are added afterwards, see qc_insertion.
"""

from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from trayside.core.qc_rules import ControlRules, longest_gap, one_in

EARLY = 5  # a control is urgent this long before the longest gap, so that a blank in its way cannot make it late
SET_BACK = 8  # a duplicate whose ticket is not free comes up to this many tickets later
ROUNDS = 14  # walks of one rack before it is taken as it stands; what is then missing is reported


class Ticket(NamedTuple):
    kind: str
    sample: int  # the sample itself, the one a duplicate pairs with, or the one before a standard or blank
    after: int
    rack: int
    place: int
    reason: str


@dataclass(frozen=True, slots=True)
class RackStart:
    """All the walk must remember at a rack's first ticket."""

    sample: int = 0
    ticket: int = 0
    after_control: bool = True  # the hole never opens with a control: the bag before it may be another hole's control
    last_standard: int = -1
    last_blank: int = -1
    next_standard_block: int = 0
    next_blank_block: int = 0
    standards_left: int = 0
    blanks_left: int = 0
    waiting: tuple[tuple[int, int], ...] = ()  # (due ticket, sample) of duplicates set back


@dataclass(slots=True)
class Pins:
    """Controls tied to a sample of the rack: they stand straight behind it."""

    tops: set[int] = field(default_factory=set)
    standards: set[int] = field(default_factory=set)
    extras: dict[int, str] = field(default_factory=dict)


class TicketWalk:
    """One hole's samples, the rules and the seeded draws; `tickets()` gives the sequence."""

    def __init__(
        self,
        *,
        rank: np.ndarray,
        grade_class: np.ndarray,
        is_high: np.ndarray,
        rules: ControlRules,
        sachets: int,
        bags: int,
        rng: np.random.Generator,
        rack_phase: int,
        rack_has_standard: bool,
        rack_has_blank: bool,
    ) -> None:
        self.rank, self.rules, self.rng, self.phase = rank, rules, rng, rack_phase
        self.count = count = len(rank)
        self.open_rack_has = (rack_has_standard, rack_has_blank)
        self.start = RackStart(
            standards_left=sachets, blanks_left=bags, after_control=not (rules.allow_first_of_rack and rack_phase == 0)
        )
        self.grade_class = grade_class.tolist()
        self.behind_high = behind_high_samples(is_high=is_high, rules=rules)
        self.blank_place = blank_places(is_high=is_high, rules=rules).tolist()
        self.next_high = _next_true(self.behind_high)
        self.behind_high_list: list[bool] = self.behind_high.tolist()
        most = 2 * count + 4 * rules.rack_size
        # From one rack up a block would only add to what the rack rule already gives.
        self.standard_step = self._step(rules.standard_rate, rules.standard_in_every_rack)
        self.blank_step = self._step(rules.blank_rate, rules.blank_in_every_rack)
        self.standard_due = self._draw_blocks(self.standard_step, most)
        self.blank_due = self._draw_blocks(self.blank_step, most)
        self.standard_gap = longest_gap(rules.standard_rate) or most
        self.blank_gap = longest_gap(rules.blank_rate) or most
        self.standard_urgent = self.standard_gap - min(EARLY, self.standard_step // 4)
        self.blank_urgent = self.blank_gap - min(EARLY, self.blank_step // 4)
        self.duplicate_step = one_in(rules.duplicate_rate)
        self.picked: dict[int, float] = {}  # sample -> draw that sets how much later its duplicate comes
        self.next_pick_ticket = 0
        self.class_counts: dict[int, int] = {}
        values, counts = np.unique(grade_class, return_counts=True)
        shares = counts / count if rules.duplicate_spread == "in proportion" else np.full(len(values), 1 / len(values))
        self.class_shares = dict(zip(values.tolist(), shares.tolist(), strict=True))

    def _step(self, rate: float, in_every_rack: bool) -> int:
        step = one_in(rate)
        return 0 if in_every_rack and step >= self.rules.rack_size else step

    def _draw_blocks(self, step: int, most: int) -> list[int]:
        """One ticket in each block of `step`, drawn evenly; the first place of a rack is drawn again when no control
        may stand there."""
        if not step:
            return []
        lows = np.arange(0, most, step)
        due = lows + self.rng.integers(0, step, size=len(lows))
        while not self.rules.allow_first_of_rack and step > 1:
            barred = (due + self.phase) % self.rules.rack_size == 0
            if not barred.any():
                break
            due[barred] = lows[barred] + self.rng.integers(0, step, size=int(barred.sum()))
        return due.tolist()

    def tickets(self) -> tuple[list[Ticket], RackStart, int]:
        """The sequence, the state after it, and how many duplicates found no place."""
        sequence: list[Ticket] = []
        state, rack = self.start, 0
        while state.sample < self.count:
            rows, state = self._settle_rack(state, rack)
            sequence += rows
            rack += 1
        return sequence, state, len(state.waiting)

    def _settle_rack(self, start: RackStart, rack: int) -> tuple[list[Ticket], RackStart]:
        rules = self.rules
        places = rules.rack_size - (self.phase if rack == 0 else 0)
        has_standard, has_blank = self.open_rack_has if rack == 0 else (False, False)
        pins = Pins()
        seen_tops: set[int] = set()
        for _ in range(ROUNDS):
            rows, end = self._walk_rack(start, rack, places, pins)
            first, last = start.sample, end.sample
            full = len(rows) == places
            closed = full and rows[-1].kind == "sample"  # nothing can follow its last sample in this rack
            controls = {row.after for row in rows if row.kind != "sample"}
            blanked = {row.after for row in rows if row.kind == "blank"}
            changed = False
            enough = last - first >= rules.min_rack_for_controls
            if enough and rules.blank_in_every_rack and not has_blank and end.blanks_left + len(blanked) > 0:
                top = first + int(np.argmax(self.rank[first:last]))
                top = self.blank_place[top] if self.blank_place[top] < last else top
                if top not in blanked and top not in pins.tops:
                    if top in seen_tops:
                        pins.tops.add(top)
                    else:
                        pins.tops = {top}
                    seen_tops.add(top)
                    changed = True
            if enough and rules.standard_in_every_rack and not has_standard and start.standards_left > 0:
                pins.standards &= set(range(first, last))
                if not any(row.kind == "standard" for row in rows):
                    changed |= self._pin_somewhere(pins, "standard", first, last, controls, closed)
            if full and not changed:
                changed = self._keep_last_place_clear(rows, pins, first, last, controls, end)
            if not changed:
                break
        return rows, end

    def _pin_somewhere(self, pins: Pins, kind: str, first: int, last: int, controls: set[int], closed: bool) -> bool:
        """Tie one more control to a sample of the rack that has none behind it yet, drawn by chance."""
        if kind == "standard" and pins.standards:
            pins.standards.clear()
        stop = last - 1 if closed else last
        held = pins.tops | pins.standards | pins.extras.keys()
        open_to = [j for j in range(first, stop) if j not in held and not self.behind_high_list[j]]
        # A duplicate can be set back and a control by rate can wait: they give way when nothing else is free.
        free = [j for j in open_to if j not in controls] or open_to
        if not free and kind == "standard" and pins.extras:
            # A standard shifts the samples behind it just as well.
            free = [pins.extras.popitem()[0]]
        if not free:
            return False
        pick = free[int(self.rng.integers(len(free)))]
        if kind == "standard":
            pins.standards.add(pick)
        else:
            pins.extras[pick] = kind
        return True

    def _keep_last_place_clear(
        self, rows: list[Ticket], pins: Pins, first: int, last: int, controls: set[int], end: RackStart
    ) -> bool:
        """A sample in the last place whose control would open the next rack: move the duplicate, or shift the sample
        on."""
        j = rows[-1].sample
        if rows[-1].kind != "sample":
            return False
        if j in pins.tops or (self.behind_high_list[j] and not self.rules.allow_first_of_rack):
            kind = "blank" if end.blanks_left > 0 else "standard"
            left = end.blanks_left if kind == "blank" else end.standards_left
            return left > 0 and self._pin_somewhere(pins, kind, first, last, controls, True)
        if self.rules.duplicate_follows == "straight after" and j in self.picked and not self.rules.allow_first_of_rack:
            near = [i for i in range(j - 1, first - 1, -1) if i not in controls and i not in pins.tops]
            near = [i for i in near if i not in pins.standards and not self.behind_high_list[i]]
            alike = [i for i in near if self.grade_class[i] == self.grade_class[j]]
            if alike:
                self.picked[alike[0]] = self.picked.pop(j)
                return True
            if j + 1 < self.count and self.grade_class[j + 1] == self.grade_class[j] and j + 1 not in self.picked:
                self.picked[j + 1] = self.picked.pop(j)
                return True
        return False

    def _walk_rack(self, start: RackStart, rack: int, places: int, pins: Pins) -> tuple[list[Ticket], RackStart]:
        rules, high = self.rules, self.behind_high_list
        straight = rules.duplicate_follows == "straight after"
        offset = rules.rack_size - places
        i, after_control = start.sample, start.after_control
        last_standard, last_blank = start.last_standard, start.last_blank
        standard_block, blank_block = start.next_standard_block, start.next_blank_block
        standards, blanks = start.standards_left, start.blanks_left
        waiting = list(start.waiting)
        rows: list[Ticket] = []
        for place in range(places):
            t = start.ticket + place
            j = i - 1
            kind = reason = ""
            pair = j
            if self.duplicate_step and t >= self.next_pick_ticket and i < self.count:
                self._pick_duplicate(i)
            if (not after_control or rules.allow_adjacent) and (rules.allow_first_of_rack or offset + place > 0):
                behind_sample = not after_control
                if behind_sample and j >= 0:
                    if high[j] and blanks > 0:
                        kind, reason = "blank", "blank after high run"
                    elif j in pins.tops and blanks > 0:
                        kind, reason = "blank", "blank after rack top"
                    elif j in pins.standards and standards > 0:
                        kind, reason = "standard", "standard for rack"
                    elif j in pins.extras and (blanks if pins.extras[j] == "blank" else standards) > 0:
                        kind = pins.extras[j]
                        reason = f"{kind} to shift"
                    elif straight and waiting and waiting[-1][1] == j:
                        late_standard = (
                            self.standard_step and standards > 0 and t >= last_standard + self.standard_urgent
                        )
                        late_blank = self.blank_step and blanks > 0 and t >= last_blank + self.blank_urgent
                        if not (late_standard or late_blank):
                            waiting.pop()
                            kind, reason = "duplicate", "duplicate by rate"
                if not kind:
                    kind, reason, chosen = self._due(
                        t, i, standards, blanks, standard_block, blank_block, last_standard, last_blank, waiting, pins
                    )
                    if kind == "duplicate":
                        pair = waiting.pop(chosen)[1]
            if not kind:
                if i >= self.count:
                    break
                rows.append(Ticket("sample", i, i, rack, offset + place, ""))
                if i in self.picked:
                    # Later: evenly over what is left of the rack. Set back: by a few tickets drawn by chance, or the
                    # gap from the control in its way would always be two. The last places stay free for the delayed.
                    room = max(1, min(places - place - 5, self.count - i - 1, SET_BACK if straight else places))
                    waiting.append((t + 2 + int(self.picked[i] * room), i))
                i += 1
                after_control = False
                continue
            rows.append(Ticket(kind, pair, j, rack, offset + place, reason))
            after_control = True
            if kind == "standard":
                standards -= 1
                last_standard = t
                served = (
                    standard_block
                    if reason == "standard by rate"
                    else t // self.standard_step
                    if self.standard_step
                    else 0
                )
                standard_block = max(standard_block, served + 1)
            elif kind == "blank":
                blanks -= 1
                last_blank = t
                served = blank_block if reason == "blank by rate" else t // self.blank_step if self.blank_step else 0
                blank_block = max(blank_block, served + 1)
        end = replace(
            start,
            sample=i,
            ticket=start.ticket + len(rows),
            after_control=after_control,
            last_standard=last_standard,
            last_blank=last_blank,
            next_standard_block=standard_block,
            next_blank_block=blank_block,
            standards_left=standards,
            blanks_left=blanks,
            waiting=tuple(waiting),
        )
        return rows, end

    def _due(
        self,
        t: int,
        i: int,
        standards: int,
        blanks: int,
        standard_block: int,
        blank_block: int,
        last_standard: int,
        last_blank: int,
        waiting: list[tuple[int, int]],
        pins: Pins,
    ) -> tuple[str, str, int]:
        """The control that has been due longest at ticket t, if any; the number is its place in the waiting list."""
        best, kind, reason, chosen = t + 1, "", "", -1
        if self.standard_step and standards > 0:
            due = min(self.standard_due[standard_block], last_standard + self.standard_urgent)
            if due < best:
                best, kind, reason = due, "standard", "standard by rate"
        if self.blank_step and blanks > 0:
            due = min(self.blank_due[blank_block], last_blank + self.blank_urgent)
            if due < best and not self._blank_comes_anyway(t, i, blank_block, last_blank, pins):
                best, kind, reason = due, "blank", "blank by rate"
        if waiting:
            due, _ = first = min(waiting)
            if due < best or i >= self.count:
                kind, reason, chosen = "duplicate", "duplicate set back", waiting.index(first)
        return kind, reason, chosen

    def _blank_comes_anyway(self, t: int, i: int, blank_block: int, last_blank: int, pins: Pins) -> bool:
        """Whether a blank behind a high sample is near enough to serve this block."""
        first = max(0, i - 1)
        ahead = [self.next_high[first]] if first < self.count else []
        ahead += [top for top in pins.tops if top >= first]
        if not ahead:
            return False
        steps = min(ahead) - i + 1
        arrives = t + steps + 2 + steps // 4
        return arrives <= min((blank_block + 1) * self.blank_step - 1, last_blank + self.blank_gap)

    def _pick_duplicate(self, i: int) -> None:
        """Draw the sample of this block that gets a duplicate: the class furthest behind its share, then evenly
        within the class."""
        step, rules = self.duplicate_step, self.rules
        self.next_pick_ticket += step
        busy = min(0.5, 1.3 * (rules.standard_rate + rules.blank_rate + rules.duplicate_rate))
        length = max(1, int(step * (1 - busy)))
        stop = min(self.count, i + length)
        candidates = [j for j in range(i, stop) if j not in self.picked]
        if not candidates or self.rng.random() * length >= len(candidates):
            return
        total = sum(self.class_counts.values()) + 1
        present = sorted({self.grade_class[j] for j in candidates})
        draws = self.rng.random(len(present))
        behind = [
            (self.class_shares[c] * total - self.class_counts.get(c, 0), draw)
            for c, draw in zip(present, draws, strict=True)
        ]
        chosen = present[max(range(len(present)), key=lambda k: behind[k])]
        alike = [j for j in candidates if self.grade_class[j] == chosen]
        pick = alike[int(self.rng.integers(len(alike)))]
        self.picked[pick] = float(self.rng.random())
        self.class_counts[chosen] = self.class_counts.get(chosen, 0) + 1


def behind_high_samples(*, is_high: np.ndarray, rules: ControlRules) -> np.ndarray:
    """Samples that must have a blank straight behind them because they, or the run they end, are high."""
    if rules.blank_after_high == "never":
        return np.zeros(len(is_high), dtype=bool)
    if rules.blank_after_high == "each sample":
        return is_high.copy()
    return is_high & ~np.append(is_high[1:], False)


def blank_places(*, is_high: np.ndarray, rules: ControlRules) -> np.ndarray:
    """For each sample the one its blank stands behind: the last of its unbroken high run when one blank serves a run,
    else itself."""
    place = np.arange(len(is_high))
    if rules.blank_after_high != "each run":
        return place
    ends = np.where(is_high & np.append(is_high[1:], False), len(is_high), place)
    return np.minimum.accumulate(ends[::-1])[::-1]


def _next_true(flags: np.ndarray) -> list[int]:
    """For each position the first flagged one at or after it; far beyond the end when there is none."""
    where = np.flatnonzero(flags)
    found = np.searchsorted(where, np.arange(len(flags)))
    return np.append(where, 10**9)[found].tolist()
