"""Sheet: the plan on the page, changes shown before they are saved, two people at once, plain forms without a script."""

from __future__ import annotations

import html
import json
import re
from itertools import pairwise

import pytest

SHEET = "/hole/SM-01/sheet"


def samples(yard):
    return [row for row in yard.sheet().rows if row.kind == "sample"]


def inner_boundary(yard) -> int:
    """A boundary two samples share that is no contact: it may be moved a little."""
    rows = samples(yard)
    return next(a.to_mm for a, b in pairwise(rows)
                if a.to_mm == b.from_mm and a.bottom_reason == "whole metre" and b.to_mm - b.from_mm > 600)  # fmt: skip


def preview(browser, edits, version=1):
    body = {"base_version": version, "edits": edits}
    return browser.post(f"{SHEET}/preview", json=body, headers={"accept": "application/json"})


def save(browser, edits, version=1, name="Ada", **more):
    return browser.post(
        f"{SHEET}/save", data={"base_version": version, "edits": json.dumps(edits), "edited_by": name, **more}
    )


def hidden(text: str, form: str, name: str) -> str:
    """The value of a hidden field of the form with this action."""
    body = re.search(rf'<form[^>]*action="{re.escape(form)}".*?</form>', text, re.DOTALL)[0]
    return html.unescape(re.search(rf'name="{name}" value="([^"]*)"', body)[1])


def test_before_a_plan_the_page_offers_one(browser):
    assert "Plan this hole" in browser.get(SHEET).text


def test_a_hole_with_stops_says_why_it_cannot_be_planned(browser, yard):
    text = browser.get("/hole/SM-02/sheet").text
    assert "It cannot be planned yet" in text
    assert "Compare both blocks" in text
    answer = browser.post("/hole/SM-02/sheet/plan")
    assert answer.status_code == 422
    assert yard.sheet("SM-02") is None


def test_every_row_stands_in_ticket_order_with_its_words(planned, yard):
    text = planned.get(SHEET).text
    rows = yard.sheet().rows
    assert re.findall(r'<tr class="row-[a-z]+" data-number="([^"]+)"', text) == [row.number for row in rows]
    for kind in ("standard", "blank", "duplicate"):
        assert text.count(f'<tr class="row-{kind}"') == sum(row.kind == kind for row in rows) > 0
    assert "insert BLK" in text
    assert "quarter of the right half" in text
    assert "▲ caution: visible metal &lt;b&gt;" in text
    assert "visible metal <b>" not in text
    assert "What the controls would miss" in text


def test_a_preview_shows_what_changes_and_saves_nothing(planned, yard):
    at = inner_boundary(yard)
    answer = preview(planned, [{"what": "move", "at_mm": at, "to_mm": at + 100}])
    told = answer.json()
    assert answer.status_code == 200
    assert told["edits"] == [{"what": "move", "at_mm": at, "to_mm": at + 100}]
    assert f'value="{(at + 100) / 1000:.2f}" data-at-mm="{at + 100}"' in told["parts"]["rows"]
    assert "✎ changed" in told["parts"]["rows"]
    assert f"boundary {at / 1000:.2f} m moved to {(at + 100) / 1000:.2f} m" in told["parts"]["changes"]
    assert f'data-at-mm="{at + 100}"' in told["parts"]["strip"]
    assert yard.sheet().version == 1
    assert at in {row.to_mm for row in samples(yard)}


def test_masses_move_with_the_boundary(planned, yard):
    at = inner_boundary(yard)
    before = next(row for row in samples(yard) if row.to_mm == at)
    told = preview(planned, [{"what": "move", "at_mm": at, "to_mm": at + 200}]).json()
    row = re.search(
        rf'data-from-mm="{before.from_mm}" data-to-mm="{at + 200}">.*?</tr>', told["parts"]["rows"], re.DOTALL
    )
    low, high = (float(kg) for kg in re.search(r'<td class="n">([\d.]+)–([\d.]+)</td>', row[0]).groups())
    assert low < high
    assert low + high > before.low_kg + before.high_kg


def test_a_depth_typed_in_feet_is_understood(planned, yard):
    at = inner_boundary(yard)
    told = preview(planned, [{"what": "move", "at_mm": at, "to": f"{(at + 50) / 304.8:.4f} ft"}]).json()
    assert abs(told["edits"][0]["to_mm"] - (at + 50)) <= 1


def test_an_edit_that_cannot_be_is_refused_in_words(planned, yard):
    at = inner_boundary(yard)
    answer = preview(planned, [{"what": "move", "at_mm": at, "to_mm": 29_000}])
    assert answer.status_code == 422
    assert "would vanish" in answer.json()["what"]
    assert preview(planned, [{"what": "join", "at_mm": 1}]).status_code == 422


def test_undoing_everything_shows_the_saved_plan(planned, yard):
    told = preview(planned, []).json()
    assert "✎" not in told["parts"]["rows"]
    assert "Not saved yet" not in told["parts"]["changes"]


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b'{"base_version": "1", "edits": []}', b'{"base_version": 1, "edits": 7}',
     b'{"base_version": 1, "edits": [{"what": "burn", "at_mm": 1}]}',
     b'{"base_version": 1, "edits": [{"what": "move", "at_mm": 1.5, "to_mm": 2}]}',
     b'{"base_version": 1, "edits": [{"what": "move", "at_mm": true, "to_mm": 2}]}',
     b'{"base_version": 1, "edits": [{"what": "move", "at_mm": 5, "to": "NaN"}]}',
     b'{"base_version": 1, "edits": [{"what": "split", "at_mm": 1e999}]}', b"[" * 100_000],
)  # fmt: skip
def test_an_unreadable_preview_is_refused_in_words(planned, body):
    headers = {"accept": "application/json", "content-type": "application/json"}
    answer = planned.post(f"{SHEET}/preview", content=body, headers=headers)
    assert answer.status_code == 422
    assert answer.json()["what"]
    assert answer.json()["remedy"]


def test_saving_stores_the_changes_under_a_name(planned, yard):
    at = inner_boundary(yard)
    answer = save(planned, [{"what": "move", "at_mm": at, "to_mm": at + 100}], name="  Ada   Vale ")
    assert answer.url.path == SHEET
    assert yard.sheet().version == 2
    assert yard.sheet().edited_by == "Ada Vale"
    assert yard.sheet().by_hand == (at + 100,)
    assert "last by Ada Vale" in answer.text


def test_split_join_add_and_drop_are_saved(planned, yard):
    first = samples(yard)[0]
    middle = (first.from_mm + first.to_mm) // 20 * 10
    save(planned, [{"what": "split", "at_mm": middle}])
    assert (first.from_mm, middle) in {(row.from_mm, row.to_mm) for row in samples(yard)}
    save(planned, [{"what": "join", "at_mm": middle}], version=2)
    assert (first.from_mm, first.to_mm) in {(row.from_mm, row.to_mm) for row in samples(yard)}
    save(planned, [{"what": "drop", "at_mm": first.from_mm}], version=3)
    assert first.from_mm not in {row.from_mm for row in samples(yard)}
    save(planned, [{"what": "add", "at_mm": first.from_mm, "to_mm": first.to_mm}], version=4)
    assert (first.from_mm, first.to_mm) in {(row.from_mm, row.to_mm) for row in samples(yard)}


def test_without_a_name_nothing_is_saved_and_the_changes_stay_on_the_page(planned, yard):
    at = inner_boundary(yard)
    answer = save(planned, [{"what": "move", "at_mm": at, "to_mm": at + 100}], name="  ")
    assert answer.status_code == 422
    assert "No name was given" in answer.text
    assert yard.sheet().version == 1
    assert json.loads(hidden(answer.text, f"{SHEET}/save", "edits")) == [
        {"what": "move", "at_mm": at, "to_mm": at + 100}
    ]


def test_the_second_of_two_editors_is_told_and_loses_nothing(planned, yard):
    first, last = samples(yard)[0], samples(yard)[-1]
    at = inner_boundary(yard)
    seen = hidden(planned.get(SHEET).text, f"{SHEET}/save", "seen")
    assert save(planned, [{"what": "move", "at_mm": at, "to_mm": at + 100}], name="Ada").status_code == 200
    mine = [{"what": "drop", "at_mm": last.from_mm}, {"what": "move", "at_mm": at, "to_mm": at - 100}]
    answer = save(planned, mine, version=1, name="Ben", seen=seen)
    assert answer.status_code == 409
    assert yard.sheet().edited_by == "Ada"
    assert "by Ada" in answer.text
    assert f"sample from {last.from_mm / 1000:.2f} m dropped" in answer.text  # mine, and it still fits
    assert "does not fit any more: There is no boundary" in answer.text  # mine, and it does not
    above = next(row for row in samples(yard) if row.to_mm == at + 100)
    assert f"sample {above.from_mm / 1000:.2f}–{(at + 100) / 1000:.2f} m is new" in answer.text  # theirs
    assert f"sample {above.from_mm / 1000:.2f}–{at / 1000:.2f} m is no longer there" in answer.text
    assert f"sample {first.from_mm / 1000:.2f}–{first.to_mm / 1000:.2f} m is" not in answer.text

    again = {name: hidden(answer.text, f"{SHEET}/try", name) for name in ("base_version", "edits", "edited_by")}
    shown = planned.post(f"{SHEET}/try", data=again)
    assert shown.status_code == 200
    assert "Not saved yet" in shown.text
    ready = {name: hidden(shown.text, f"{SHEET}/save", name) for name in ("base_version", "edits")}
    assert planned.post(f"{SHEET}/save", data={**ready, "edited_by": again["edited_by"]}).status_code == 200
    assert yard.sheet().edited_by == "Ben"
    assert last.from_mm not in {row.from_mm for row in samples(yard)}
    assert at + 100 in {row.to_mm for row in samples(yard)}  # Ada's change is still there


def test_a_preview_on_an_older_plan_is_told(planned, yard):
    at = inner_boundary(yard)
    save(planned, [{"what": "move", "at_mm": at, "to_mm": at + 100}], name="Ada")
    answer = preview(planned, [{"what": "move", "at_mm": at, "to_mm": at + 50}], version=1)
    assert answer.status_code == 409
    assert "saved by Ada after you opened it" in answer.json()["what"]


def test_plain_forms_show_a_change_and_then_save_it(planned, yard):
    at = inner_boundary(yard)
    typed = {
        "base_version": 1,
        "edits": "[]",
        "what": "move",
        "move_at": f"{at / 1000:.2f}",
        "move_to": f"{at / 1000 + 0.1:.2f} m",
    }
    shown = planned.post(f"{SHEET}/try", data=typed)
    assert shown.status_code == 200
    assert "✎ changed" in shown.text
    assert yard.sheet().version == 1
    ready = {name: hidden(shown.text, f"{SHEET}/save", name) for name in ("base_version", "edits")}
    planned.post(f"{SHEET}/save", data={**ready, "edited_by": "Cid"})
    assert at + 100 in {row.to_mm for row in samples(yard)}


def test_plain_forms_add_one_change_to_the_others(planned, yard):
    first, last = samples(yard)[0], samples(yard)[-1]
    edits = json.dumps([{"what": "drop", "at_mm": last.from_mm}])
    typed = {"base_version": 1, "edits": edits, "what": "drop", "drop_at": f"{first.from_mm / 1000}"}
    shown = planned.post(f"{SHEET}/try", data=typed)
    assert json.loads(hidden(shown.text, f"{SHEET}/save", "edits")) == [
        {"what": "drop", "at_mm": last.from_mm, "to_mm": None},
        {"what": "drop", "at_mm": first.from_mm, "to_mm": None},
    ]


def test_plain_forms_in_feet_find_the_boundary_that_is_meant(planned, yard):
    yard.set_rules('[paper]\nlength_unit = "ft"\n[sampling]\nsample_classes = ["low", "high"]\n')
    assert planned.post(f"{SHEET}/save", data={"base_version": 1, "edits": "[]", "edited_by": "Ada"}).status_code == 200
    at = inner_boundary(yard)
    typed = {"base_version": 2, "edits": "[]", "what": "join", "join_at": f"{at / 304.8:.2f}"}
    shown = planned.post(f"{SHEET}/try", data=typed)
    assert shown.status_code == 200
    assert json.loads(hidden(shown.text, f"{SHEET}/save", "edits"))[0]["at_mm"] == at


def test_a_wrong_depth_in_a_plain_form_is_refused_and_kept(planned):
    typed = {"base_version": 1, "edits": "[]", "what": "split", "split_at": "<i>deep"}
    answer = planned.post(f"{SHEET}/try", data=typed)
    assert answer.status_code == 422
    assert "is not a depth" in answer.text
    assert 'name="split_at" value="&lt;i&gt;deep"' in answer.text


def test_planning_again_asks_before_it_drops_what_was_placed_by_hand(planned, yard):
    at = inner_boundary(yard)
    save(planned, [{"what": "move", "at_mm": at, "to_mm": at + 100}])
    answer = planned.post(f"{SHEET}/plan", data={"base_version": 2})
    assert answer.status_code == 422
    assert yard.sheet().by_hand == (at + 100,)
    assert "This drops 1 boundary placed by hand" in planned.get(SHEET).text
    assert planned.post(f"{SHEET}/plan", data={"base_version": 2, "sure": "yes"}).status_code == 200
    assert yard.sheet().by_hand == ()


def test_planning_again_does_not_run_over_a_newer_plan(planned, yard):
    at = inner_boundary(yard)
    save(planned, [{"what": "split", "at_mm": at + 300}], name="Ada")
    answer = planned.post(f"{SHEET}/plan", data={"base_version": 1, "sure": "yes"})
    assert answer.status_code == 409
    assert "saved by Ada" in answer.text
    assert yard.sheet().version == 2


def test_markup_in_a_name_stays_text(planned, yard):
    at = inner_boundary(yard)
    save(planned, [{"what": "split", "at_mm": at + 300}], name="<script>x</script>")
    text = planned.get(SHEET).text
    assert "<script>x" not in text
    assert "last by &lt;script&gt;x" in text


def test_the_sheet_says_what_a_bag_can_say_at_best(browser, planned):
    text = browser.get(SHEET).text
    assert "Scatter by Gy" in text
    assert "Never pool them" in text
