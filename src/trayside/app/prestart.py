"""The pre-start card of a saw: answered item by item and signed. A failed item tags the saw out in the same act."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from trayside.app.office_acts import Desk, record_all
from trayside.app.ports import StartWork, Work
from trayside.app.saw_state import SawNow, read_saw, saw_named, saw_now
from trayside.app.yard_rules import rules_of
from trayside.core.planning_aid import PLANNING_AID
from trayside.errors import ImpossibleValue
from trayside.model.bag_states import Fact
from trayside.model.event import LONGEST_TEXT
from trayside.model.prestart_items import ANSWERS, CardItem, card_items, card_print
from trayside.model.rules import Rules


@dataclass(frozen=True, slots=True)
class CardView:
    """The card of one saw: its items, what was answered last, and where the saw stands."""

    now: SawNow
    items: tuple[CardItem, ...]
    print: str
    rules: Rules
    answered: dict[str, tuple[str, str]]
    """Answer and remark of the last signed card, by key; empty when it was another card or another day."""
    caution: str = PLANNING_AID

    @property
    def card(self) -> Fact | None:
        """The card that holds now or failed in this day or shift."""
        return self.now.card if self.answered else None


def view_card(work: Work, saw_name: str, *, now: datetime) -> CardView:
    """The card as it is to be answered, with the answers of today's when it was signed."""
    saw = saw_named(work, saw_name)
    rules = rules_of(work)
    state = saw_now(work, read_saw(work, saw), rules=rules, now=now)
    items = card_items(saw.kind, rules.saws)
    card, mark = state.card, card_print(items)
    answered = {}
    if card is not None and card.event.captured_at >= state.period_start and card.values["card"] == mark:
        answered = _answers(card)
    return CardView(state, items, mark, rules, answered)


def _answers(card: Fact) -> dict[str, tuple[str, str]]:
    found = {}
    for line in card.values["answers"]:
        key, _, rest = line.partition(": ")
        answer, _, remark = rest.partition(" - ")
        found[key] = (answer, remark)
    return found


def sign_card(
    saw_name: str,
    answers: Mapping[str, str],
    *,
    remarks: Mapping[str, str],
    card: str,
    desk: Desk,
    start_work: StartWork,
) -> tuple[str, ...]:
    """Store the card; the keys that failed come back. `card` is the fingerprint of the items that were on the screen."""
    with start_work() as work:
        saw = saw_named(work, saw_name)
        items = card_items(saw.kind, rules_of(work).saws)
        if card != card_print(items):
            raise ImpossibleValue("the items of the card changed meanwhile", where=saw_name, remedy="Open the card again")
        missing = [item.words for item in items if answers.get(item.key) not in ANSWERS]
        if missing:
            raise ImpossibleValue(
                f"{len(missing)} of {len(items)} items have no answer, the first: {missing[0]}",
                where=saw_name,
                remedy="Look at each and answer it; nothing is signed until all are answered",
            )
        failed = tuple(item.key for item in items if _fails(item, answers[item.key]))
        lines = [_line(item, answers[item.key], remarks.get(item.key, "")) for item in items]
        values: dict[str, object] = {"passed": not failed, "card": card, "answers": lines, "failed": list(failed)}
        events = [desk.act("prestart_signed", "saw", saw_name, values=values)]
        if failed and read_saw(work, saw).tagged is None:
            words = {item.key: item.words for item in items}
            said = "; ".join(_with_remark(words[key], remarks.get(key, "")) for key in failed)
            reason = f"pre-start card: {said}"[:LONGEST_TEXT]
            events.append(desk.act("tagged_out", "saw", saw_name, values={"items": list(failed)}, reason=reason))
        record_all(work, events, clock=desk.clock, where=saw_name)
        work.commit()
    return failed


def _fails(item: CardItem, answer: str) -> bool:
    return answer == "failed" or (answer == "absent" and not item.may_be_absent)


def _with_remark(words: str, remark: str) -> str:
    said = " ".join(remark.split())
    return f"{words} ({said})" if said else words


def _line(item: CardItem, answer: str, remark: str) -> str:
    said = " ".join(remark.split())[:200]
    return f"{item.key}: {answer} - {said}" if said else f"{item.key}: {answer}"
