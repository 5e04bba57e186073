"""The items of the pre-start card: sourced, worded once, and as the yard's rules want them."""

import pytest

from trayside.core.sources import GRADES
from trayside.model.prestart_items import ITEMS, card_items, card_print
from trayside.model.rules import SawSettings
from trayside.model.saw import SAW_KINDS


def test_every_item_names_its_sources_with_a_grade_and_its_key_once():
    keys = [item.key for item in ITEMS]
    assert len(set(keys)) == len(keys)
    for item in ITEMS:
        assert item.sources
        assert all(source.grade in GRADES for source in item.sources)


@pytest.mark.parametrize(
    "words",
    ["guard", "crack", "rpm", "arrow", "flange", "water", "leads", "residual-current", "stop control", "power cut", "floor",
     "ear protection", "breathing", "boots", "rings", "gloves"],
)  # fmt: skip
def test_a_saw_is_asked_for_what_the_trade_and_the_laws_ask(words):
    assert any(words in item.words.lower() for item in card_items("manual", SawSettings()))


@pytest.mark.parametrize("kind", SAW_KINDS)
def test_a_card_asks_only_what_fits_the_saw(kind):
    keys = {item.key for item in card_items(kind, SawSettings())}
    assert ("blade" in keys) == (kind != "splitter")
    assert ("wedge" in keys) == (kind == "splitter")


def test_the_fingerprint_changes_with_the_words_and_only_with_them():
    plain = card_print(card_items("manual", SawSettings()))
    assert plain == card_print(card_items("manual", SawSettings(shift_h=8.0)))
    assert plain != card_print(card_items("manual", SawSettings(glove_rule="no gloves at all")))
    assert plain != card_print(card_items("manual", SawSettings(card_more=("Radio on",))))
    assert "no gloves at all" in card_items("manual", SawSettings(glove_rule="no gloves at all"))[-1].words
