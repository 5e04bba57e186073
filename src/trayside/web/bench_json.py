"""A tray of an issued sheet as JSON: everything a tablet needs to go on without network."""

from __future__ import annotations

from dataclasses import asdict
from functools import cache

from trayside.app.bench_saws import BenchSaw
from trayside.app.bench_sheet import BenchRow, BenchSheet
from trayside.app.record_bench import TrayNews
from trayside.app.record_events import Recorded
from trayside.app.written_amounts import mass_text
from trayside.core.mass_residuals import QUESTIONS
from trayside.core.units import POUND_G
from trayside.model.bag_states import CONTROL_ROWS, MACHINES
from trayside.model.cut_sheet import Place
from trayside.model.event import Stored, event_fields, moment_text
from trayside.model.rules import Rules
from trayside.model.saw import SAW_KINDS, fits_need

from .words import say

GRAMS_PER_UNIT = {"kg": 1000.0, "lb": float(POUND_G)}
OTHER_SIDE = {"right": "left", "left": "right"}
NEEDS = ("saw", *SAW_KINDS)


def sheet_json(sheet: BenchSheet, news: TrayNews, *, rules: Rules, software: str) -> dict:
    bench = rules.bench
    return {
        **{name: value for name, value in asdict(sheet).items() if name not in ("rows", "numbers")},
        "yard": rules.yard,
        "software": software,
        "mass_unit": rules.paper.mass_unit,
        "grams_per_unit": GRAMS_PER_UNIT[rules.paper.mass_unit],
        "settings": {
            "weigh_before_next": bench.weigh_before_next,
            "weigh_controls": bench.weigh_controls,
            "kept_half": bench.kept_half,
            "flush_material": bench.flush_material,
            "not_cut_reasons": list(bench.not_cut_reasons),
            "photo_at_close": bench.photo_at_close,
            "photo_mb": bench.photo_mb,
            "clock_off_min": bench.clock_off_min,
            "has_scale": bool(bench.scale.port or bench.scale.feed),
        },
        "machines": machines(),
        "control_rows": list(CONTROL_ROWS),
        "rows": [_row(row, rules) for row in sheet.rows],
        "numbers": {number: [tray, kind] for number, (tray, kind) in sheet.numbers.items()},
        **news_json(news),
    }


def news_json(news: TrayNews) -> dict:
    return {
        "events": [_stored(stored) for stored in news.events],
        "seq": news.seq,
        "newest": {"revision": news.revision, "digest": news.digest, "cut_lines": news.cut_lines},
    }


def saws_json(saws: tuple[BenchSaw, ...]) -> list[dict]:
    """The yard's saws with the needs each may serve."""
    return [asdict(saw) | {"kinds": [need for need in NEEDS if fits_need(saw.kind, need)]} for saw in saws]


def answer_json(answer: Recorded) -> dict:
    return asdict(answer)


@cache
def machines() -> dict:
    """The table of allowed moves, so that a tablet reads the same states off the same events."""
    return {
        name: {"states": list(machine.states), "moves": [asdict(move) for move in machine.moves]}
        for name, machine in MACHINES.items()
    }


def moment_json(moment) -> str:
    return moment_text(moment)


def _stored(stored: Stored) -> dict:
    return {
        "event": event_fields(stored.event),
        "seq": stored.seq,
        "stored_at": stored.stored_at,
        "standing": stored.standing,
        "why": stored.why,
        "against": stored.against,
    }


def _row(row: BenchRow, rules: Rules) -> dict:
    words = _cause_words(row)
    unit = rules.paper.mass_unit
    told = asdict(row) | {
        "place": _place(row.from_place),
        "end": _place(row.to_place),
        "causes": [[band.up_to_g, [words[cause] for cause in band.causes]] for band in row.causes],
        "re_mark": [{"what": mark.what, "place": _place(mark.place)} for mark in row.re_mark],
        "range": "",
    }
    if row.low_g is not None and row.high_g is not None:
        low, high = (mass_text(grams / 1000, unit=unit) for grams in (row.low_g, row.high_g))
        told["range"] = f"{low}–{high} {unit}"
    return told


def _cause_words(row: BenchRow) -> dict[str, str]:
    """Questions to the operator, with the sides this row is about."""
    other = OTHER_SIDE.get(row.side)
    half = say("bench.ask.half", side=other) if other else QUESTIONS["far_half"]
    return QUESTIONS | {"far_half": half, "near_half": half}


def _place(place: Place | None) -> str:
    if place is None:
        return ""
    return say("bench.place", tray=place.tray, row=place.row, cm=f"{place.left_cm:.0f}")
