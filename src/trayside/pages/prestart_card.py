"""The pre-start card of a saw and the register of blades, on paper."""

from __future__ import annotations

from datetime import datetime, timedelta

from trayside.app.blade_state import BladeLife
from trayside.app.prestart import CardView
from trayside.app.saw_views import BladeLine, SawYard
from trayside.core.units import feet_from_metres
from trayside.model.event import moment

from .compile import compile_page
from .paper_words import plain_text, time_text

KIND_WORDS = {"automatic": "automatic saw", "manual": "manual saw", "splitter": "splitter"}
SIZES = {"a4": "a4", "us-letter": "us-letter"}
ANSWER_MARKS = ("ok", "failed", "absent")
TAKE_CARE = "An unsigned or failed card keeps the saw from cutting. A saw that failed is tagged out until it is released."


def prestart_card_pdf(view: CardView, *, printed_at: datetime) -> bytes:
    """With the answers of this day or shift when the card was signed; else to be answered by hand."""
    return compile_page(template="prestart_card.typ", content=prestart_content(view), made_at=printed_at).pdf


def prestart_content(view: CardView) -> dict:
    """Words of the card; `answer` of an item is '' while nobody answered it."""
    now, card = view.now, view.card
    saw, blade = now.saw, now.blade
    return {
        "paper": SIZES[view.rules.paper.size],
        "yard": plain_text(view.rules.yard),
        "saw": plain_text(saw.saw, breakable=False),
        "kind": KIND_WORDS[saw.kind],
        "signed": _signed(card) if card is not None else "",
        "passed": bool(card.values["passed"]) if card is not None else None,
        "facts": [[plain_text(name), plain_text(said)] for name, said in _facts(view)] if saw.has_blade else [],
        "items": [
            {
                "words": plain_text(item.words),
                "sources": plain_text("; ".join(str(source) for source in item.sources)),
                "answer": view.answered.get(item.key, ("", ""))[0],
                "remark": plain_text(view.answered.get(item.key, ("", ""))[1]),
                "may_be_absent": item.may_be_absent,
            }
            for item in view.items
        ],
        "stops": [[plain_text(stop.what), plain_text(stop.do)] for stop in now.stops],
        "blade": plain_text(blade.blade) if blade is not None else "",
        "print": view.print,
        "release": " or ".join(view.rules.saws.release_roles),
        "care": TAKE_CARE,
        "caution": view.caution,
    }


def _signed(card) -> str:
    local = moment(card.event.captured_at) + timedelta(minutes=card.event.utc_offset_min)
    return plain_text(f"{card.event.person}, {local:%Y-%m-%d %H:%M}, on {card.event.device}")


def _facts(view: CardView) -> list[tuple[str, str]]:
    now = view.now
    blade, start = now.blade, now.start
    known = lambda value, unit: "not known" if value is None else f"{value:g} {unit}"  # noqa: E731
    return [
        ("Blade", "none recorded" if blade is None else f"{blade.blade}, {blade.diameter_mm:g} mm, {blade.blade_type}"),
        ("Stamp", "not known" if blade is None else known(blade.stamped_rpm, "rpm")),
        ("Spindle", known(now.saw.spindle_rpm, "rpm")),
        ("Edge", "not known" if start is None or start.working_speed_m_s is None else f"{start.working_speed_m_s:.1f} m/s"),
        ("Segments", "not measured" if now.height_mm is None else f"{now.height_mm:.1f} mm at the last reading"),
        ("Water", "as the maker says" if now.water is None else f"{now.water.state}; flow wanted as the maker says"),
    ]


def blade_register_pdf(yard: SawYard, *, printed_at: datetime) -> bytes:
    """Every blade of the register, where it is and what it did."""
    content = {
        "paper": SIZES[yard.rules.paper.size],
        "yard": plain_text(yard.rules.yard),
        "printed": time_text(printed_at),
        "unit": yard.rules.paper.length_unit,
        "blades": [_blade(line, unit=yard.rules.paper.length_unit) for line in yard.blades],
        "orders": [
            plain_text(f"{view.order.blade_type}: {view.order.advice.says} That is by {view.order.by}.")
            for view in {view.order.blade_type: view for view in yard.saws if view.order is not None}.values()
        ],
        "caution": yard.saws[0].caution if yard.saws else "",
    }
    return compile_page(template="blade_register.typ", content=content, made_at=printed_at).pdf


def _blade(line: BladeLine, *, unit: str) -> dict:
    blade, life = line.blade, line.life
    return {
        "blade": plain_text(blade.blade),
        "where": plain_text(line.where) if line.where else "scrapped" if line.scrapped else "shelf",
        "type": plain_text(", ".join(part for part in (blade.blade_type, blade.bond) if part)),
        "size": f"{blade.diameter_mm:g}" + (f" / {blade.kerf_mm:g}" if blade.kerf_mm else ""),
        "stamp": f"{blade.stamped_rpm:g}" if blade.stamped_rpm else "NONE: does not run",
        "height": f"{life.height_mm:.1f} of {blade.segment_height_mm:g}",
        "cut": _length(life.metres, unit),
        "area": f"{life.area_m2:.2f}",
        "hours": f"{life.hours:.1f}",
        "left": _left(life, unit) if not line.scrapped else "–",
    }


def _left(life: BladeLife, unit: str) -> str:
    if life.left is None:
        return "not known"
    low, high = max(0.0, life.left.low_metres), life.left.high_metres
    until = _length(high, unit) if high < 1e9 else "?"
    return f"{_length(max(0.0, life.left.metres), unit)} ({_length(low, unit)}–{until})"


def _length(metres: float, unit: str) -> str:
    return f"{float(feet_from_metres(depth_m=metres)) if unit == 'ft' else metres:.0f}"
