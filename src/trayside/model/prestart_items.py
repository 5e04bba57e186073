"""What is looked at before a saw is started: the items of the pre-start card, each with where it comes from.

Laws named here hold where they hold; a yard leaves out items, or adds its own, in its rules. The maker's manual comes first.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from trayside.core.sources import Source
from trayside.model.rules import SawSettings
from trayside.model.saw import SAW_KINDS, SawKind

WITH_BLADE: tuple[SawKind, ...] = ("automatic", "manual")
ANSWERS = ("ok", "failed", "absent")
"""absent: this saw has no such part. An item that may not be absent is failed then."""


@dataclass(frozen=True, slots=True)
class CardItem:
    """One line of the card. `may_be_absent` when a saw can do without the part."""

    key: str
    words: str
    sources: tuple[Source, ...]
    kinds: tuple[SawKind, ...] = SAW_KINDS
    may_be_absent: bool = False


def _seen(document: str, locator: str) -> Source:
    return Source(document, locator, "seen")


PRACTICE = Source("no document found", "habit of the trade", "common practice, no source")
TIPS = _seen("CPWR/OSHA, tips for Table 1 equipment, March 2017", "stationary masonry saws")
QUEENSLAND = _seen("WorkSafe Queensland, stationary masonry saws", "opening part of the page")

ITEMS: tuple[CardItem, ...] = (
    CardItem("guard", "Blade guard is on, whole and tight; it would hold the pieces of a blade",
             (_seen("29 CFR 1926.702(i)(1)-(2)", "as quoted in a letter of 20 July 2006"), _seen("WAC 296-155-367", "(1)")),
             WITH_BLADE),
    CardItem("blade", "Blade: no crack, no loose, missing or worn-down segment",
             (TIPS, _seen("WAC 296-806-40512", "(a)")), WITH_BLADE),
    CardItem("stamp", "Highest rpm can be read on the blade and is not below the spindle's",
             (_seen("WAC 296-155-367", "(3)"), _seen("WAC 296-806-40512", "(c)")), WITH_BLADE),
    CardItem("direction", "Arrow on the blade points the way it turns", (TIPS,), WITH_BLADE),
    CardItem("flange", "Flanges clean and of the maker's size, nut tight, key or wrench taken out",
             (_seen("29 CFR 1926.303(c)", "text through a copy of the CFR"), PRACTICE), WITH_BLADE),
    CardItem("latch", "Head cannot lift out of its notch", (_seen("WAC 296-155-367", "(2)"),), WITH_BLADE, True),
    CardItem("water", "Water runs onto both sides of the blade: hoses sound, nozzle clear, pump works, tank full",
             (TIPS, QUEENSLAND, _seen("WAC 296-155-367", "(4)")), WITH_BLADE),
    CardItem("clean", "Table, cradle, guard and sump were left clean; water is not gritty",
             (_seen("University of North Carolina, rock saw rules", "copy of the page"), PRACTICE)),
    CardItem("leads", "Leads, plugs and switch whole and dry, frame earthed",
             (_seen("WAC 296-155-367", "(5)-(6)"),)),
    CardItem("rcd", "Residual-current device tested with its button (30 mA or less)",
             (_seen("model WHS Regulation 164", "through summaries; 30 mA, sockets to 20 A"),)),
    CardItem("stop", "Stop control works and is reached from where you stand",
             (_seen("WAC 296-806-20008", "text of the section"),)),
    CardItem("restart", "After a power cut it does not start by itself", (_seen("WAC 296-806-20010", "text of the section"),)),
    CardItem("hold", "Cradle, clamp and push block are there; carriage free of grit",
             (_seen("weeklysafety.com, masonry saws", "training page"), PRACTICE)),
    CardItem("wedge", "Wedges and ram whole, two-hand or foot control works", (PRACTICE,), ("splitter",)),
    CardItem("footing", "Saw stands firm; floor level, drained, nothing to trip over; never stand in water",
             (_seen("WAC 296-806-20004", "title only"), _seen("weeklysafety.com, masonry saws", "training page"))),
    CardItem("eyes_ears", "Eye and ear protection on, also for people near",
             (_seen("WAC 296-155-367", "(4)"), PRACTICE)),
    CardItem("breath", "Breathing protection as the site's dust measurements ask for",
             (Source("29 CFR 1926.1153", "Table 1 entry for wet masonry saws, in the text of 8 CCR 1532.3", "seen"),)),
    CardItem("boots", "Boots with toe caps and a sole that grips", (PRACTICE,)),
    CardItem("loose", "No rings, bracelets, loose sleeves or loose long hair", (PRACTICE,)),
    CardItem("gloves", "Gloves as this site says: {gloves}",
             (_seen("German society for trauma surgery, statement on gloves at rotating tools", "statement"), PRACTICE)),
)  # fmt: skip
BY_KEY: dict[str, CardItem] = {item.key: item for item in ITEMS}
OWN = "own"


def card_items(kind: SawKind, settings: SawSettings) -> tuple[CardItem, ...]:
    """The items of the card for a saw of this kind, in the yard's wording: `own-1`, `own-2`... are the yard's own."""
    found = [
        CardItem(item.key, item.words.format(gloves=settings.glove_rule), item.sources, item.kinds, item.may_be_absent)
        for item in ITEMS
        if kind in item.kinds and item.key not in settings.card_left_out
    ]
    own = Source("this yard's rules", "saws.card_more", "common practice, no source")
    found += [CardItem(f"{OWN}-{at}", words, (own,)) for at, words in enumerate(settings.card_more, start=1)]
    return tuple(found)


def card_print(items: tuple[CardItem, ...]) -> str:
    """Fingerprint of the items as they were worded, so that it can be told later which card was signed."""
    text = "\n".join(f"{item.key}\t{item.words}" for item in items)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
