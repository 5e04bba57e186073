"""Shift: the form, the plan on the clock with what it saves, what changed when a saw stopped, refusals, the paper."""

import re

import pytest
from web_yard import MARKUP, NOW

from trayside.app.issue_cut_sheet import issue_cut_sheet

ASKED = {
    "day": "2031-05-04",
    "start": "07:00",
    "hours": "10",
    "from_at": "",
    "lorry_at": "14:00",
    "saw": ["SAW-1", "SAW-2"],
    "operator SAW-1": "Demo <operator>",
    "operator SAW-2": "",
    "hole": ["SM-01"],
    "priority SM-01": "normal",
    "lorry": ["SM-01"],
    "signed_by": "Demo lead",
}


@pytest.fixture
def issued(planned, yard):
    """The small yard with SM-01 issued."""
    issue_cut_sheet(
        "SM-01",
        version=yard.sheet().version,
        issued_by="Demo geologist",
        start_work=yard.start_work,
        clock=yard.clock,
    )
    return planned


def newest(yard):
    with yard.start_work(writing=False) as work:
        return work.shifts.newest()


def test_without_an_issued_sheet_it_says_what_to_do_first(browser):
    page = browser.get("/shift")
    assert page.status_code == 200
    assert "No shift is planned yet" in page.text
    assert "issue a cut sheet first" in page.text


def test_the_form_proposes_the_shift_that_is_on(issued):
    page = issued.get("/shift").text  # 07:30 by the yard's clock
    assert 'name="day" value="2031-05-04"' in page
    assert 'name="from_at" value="07:30"' in page
    assert re.search(r'name="hole" value="SM-01" checked', page)
    assert page.count('name="saw"') == 2
    assert "<option selected>normal</option><option>soon</option>" in page


def test_a_plan_is_made_shown_and_kept(issued, yard):
    page = issued.post("/shift", data=ASKED)
    plan = newest(yard)
    assert page.url.path == f"/shift/{plan.plan_id}"
    assert (plan.made_by, plan.made_at) == ("Demo lead", NOW)
    for line in plan.lines:
        assert f'data-piece="{line.piece}"' in page.text
    assert f"{100 * plan.saved:.1f} % better than first come, first served" in page.text
    assert "No plan is better: every one was tried." in page.text
    assert "lorry 14:00" in page.text
    assert "Demo &lt;operator&gt;" in page.text
    assert "Demo <operator>" not in page.text
    assert "to cut" in page.text
    assert "no cut yet" in page.text  # minutes per metre are starting choices until something is logged


def test_nothing_that_people_typed_becomes_markup(issued):
    page = issued.post("/shift", data=ASKED | {"operator SAW-1": MARKUP, "signed_by": MARKUP}).text
    assert MARKUP not in page
    assert "&lt;script&gt;" in page


def test_a_stopped_saw_is_planned_around_and_what_changed_is_said(issued, yard):
    issued.post("/shift", data=ASKED)
    first = newest(yard)
    page = issued.post(
        f"/shift/{first.plan_id}/stop", data={"stopped": "SAW-2", "at": "07:30", "back": "", "signed_by": "Demo lead"}
    )
    again = newest(yard)
    assert again.replaces == first.plan_id
    assert {line.saw for line in again.lines} == {"SAW-1"}
    assert "SAW-2 stopped at 07:30" in page.text
    assert 'class="saw-stopped"' in page.text
    assert f'href="/shift/{first.plan_id}"' in page.text
    moved = [one.piece for one in again.change.moved if one.from_saw != one.to_saw]
    assert moved
    for piece in moved:
        assert f'<th scope="row">{piece}</th><td>SAW-2' in page.text
    old = issued.get(f"/shift/{first.plan_id}").text
    assert "There is a newer plan" in old
    assert "A saw stopped: plan again" not in old


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"saw": []}, "No saw is chosen"),
        ({"hole": []}, "No hole is chosen"),
        ({"hours": "long"}, "is no number of hours"),
        ({"hours": "nan"}, "A shift of nan hours"),
        ({"day": "today"}, "is no day"),
        ({"start": "25:00"}, "is no time of day"),
        ({"lorry_at": "x"}, "is no time of day"),
        ({"priority SM-01": "at once"}, "No priority is called"),
        ({"signed_by": " "}, "name"),
        ({"hole": ["SM/03"]}, "No tray of these holes can be planned"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_is_kept(issued, yard, wrong, words):
    page = issued.post("/shift", data=ASKED | wrong)
    assert page.status_code == 422
    assert words in page.text
    assert newest(yard) is None


def test_what_was_typed_stays_in_the_form_after_a_refusal(issued):
    page = issued.post("/shift", data=ASKED | {"saw": ["SAW-9"], "start": "06:15"}).text
    assert "No saw is called SAW-9" in page
    assert 'name="start" value="06:15"' in page


def test_a_stop_that_cannot_be_is_refused_beside_the_plan(issued, yard):
    issued.post("/shift", data=ASKED)
    plan = newest(yard)
    for wrong, words in (({"stopped": "SAW-9"}, "No saw of this plan"), ({"at": "xx"}, "is no time of day")):
        asked = {"stopped": "SAW-1", "at": "", "back": "", "signed_by": "Demo lead"} | wrong
        page = issued.post(f"/shift/{plan.plan_id}/stop", data=asked)
        assert page.status_code == 422
        assert words in page.text
        assert 'class="shift-plan"' in page.text
    assert newest(yard) == plan


def test_plans_that_are_not_there(issued):
    assert issued.get("/shift/nothing").status_code == 404
    assert issued.post("/shift/nothing/stop", data={"stopped": "SAW-1", "signed_by": "Demo lead"}).status_code == 404
    assert issued.get("/shift/nothing/plan.pdf").status_code == 404


def test_the_paper_is_the_plans_own(issued, yard):
    issued.post("/shift", data=ASKED)
    plan = newest(yard)
    paper = issued.get(f"/shift/{plan.plan_id}/plan.pdf")
    assert paper.headers["content-type"] == "application/pdf"
    assert 'filename="shift-2031-05-04.pdf"' in paper.headers["content-disposition"]
    assert yard.papers.asked[-1] == ("shift plan", plan.plan_id)


def test_a_yard_in_feet_reads_feet(issued, yard):
    issued.post("/shift", data=ASKED)
    metres = sum(line.metres for line in newest(yard).lines if line.saw == "SAW-1")
    assert f"{metres:.2f} m</summary>" in issued.get("/shift").text
    with yard.start_work() as work:
        work.set_rules(work.rules_text() + '\n[paper]\nlength_unit = "ft"\n')
        work.commit()
    page = issued.get("/shift").text
    assert "Core, ft" in page
    shown = float(re.search(r"SAW-1, Demo &lt;operator&gt;: [^,]*, ([0-9.]+) ft</summary>", page)[1])
    assert shown == pytest.approx(metres / 0.3048, abs=0.03)
