"""Results through the real pages: batches and their words, one batch, its signature, the charts of an element."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from results_yard import add_certificate, issued, write_results_yard
from starlette.testclient import TestClient
from test_loads import FloorYard
from web_yard import MARKUP

from trayside.web.services import Services
from trayside.web.site import build_site

ADDRESS = "http://127.0.0.1:8000"
ME = {"signed_by": "Demo QC"}


class RequestPapers:
    def reassay_request(self, request, rules, made_at) -> bytes:
        return f"%PDF {request.certificate_id} {request.samples}".encode()


class Scripts:
    """Stands in for the drawing program."""

    version = "7.1"

    def script(self) -> bytes:
        return b"globalThis.drawChart = () => {};"


@pytest.fixture(scope="session")
def results_template(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("results")
    write_results_yard(folder)
    return folder / "yard.sqlite"


@pytest.fixture
def yard(results_template, tmp_path):
    yard = FloorYard(Path(shutil.copy(results_template, tmp_path / "yard.sqlite")))
    yield yard
    yard.engine.dispose()


@pytest.fixture
def browser(yard):
    services = Services(yard.start_work, yard.clock, yard.make_id, RequestPapers(), chart_scripts=Scripts())
    with TestClient(
        build_site(services), base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False
    ) as client:
        yield client


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def digest_of(browser, certificate: str, element: str) -> str:
    page = browser.get(f"/results/{certificate}").text
    return re.search(rf'name="digest-{element}" value="(\w+)"', page)[1]


def sign(browser, certificate: str = "CT-00003", element: str = "Au", *, word: str, digest: str | None = None, **more):
    digest = digest or digest_of(browser, certificate, element)
    data = {"element": element, "word": word, f"digest-{element}": digest, **ME, **more}
    return browser.post(f"/results/{certificate}/sign", data=data)


# the list


def test_batches_are_listed_newest_first_with_their_word_and_why(browser):
    page = browser.get("/results").text
    rows = re.findall(r'<a href="/results/(CT-\d+)">', page)
    assert rows == ["CT-00003", "CT-00002"]  # the superseded one counts no more
    told = text_of(page)
    assert "re-assay" in told
    assert "BLK as T1018 reads 0.310 g/t" in told
    assert "not signed" in told


@pytest.mark.parametrize(
    ("query", "batches"),
    [
        ("word=re-assay", ["CT-00003"]),
        ("word=use", ["CT-00002"]),
        ("word=use&element=Cu", ["CT-00003", "CT-00002"]),
        ("word=cannot+judge", []),
        ("since=2031-06-05", ["CT-00003"]),
        ("until=2031-06-03", ["CT-00002"]),
        ("laboratory=Demo+laboratory+A", ["CT-00003", "CT-00002"]),
        ("laboratory=Another", []),
        ("element=Ag", []),
    ],
)
def test_the_list_shows_what_was_chosen(browser, query, batches):
    answer = browser.get(f"/results?{query}")
    assert answer.status_code == 200
    assert re.findall(r'<a href="/results/(CT-\d+)">', answer.text) == batches


@pytest.mark.parametrize("query", ["since=yesterday", "page=x", "page=2", "page=0"])
def test_a_choice_that_cannot_be_is_told(browser, query):
    answer = browser.get(f"/results?{query}")
    assert answer.status_code in (404, 422)
    assert "What to do" in answer.text


def test_the_head_leads_to_results(browser):
    assert 'href="/results"' in browser.get("/").text


# one batch


def test_a_batch_says_its_reasons_its_range_and_what_it_could_not_see(browser):
    told = text_of(browser.get("/results/CT-00003").text)
    assert "BLK as T1018 reads 0.310 g/t" in told
    assert "T1009 to T1017 (8 samples, from the start of the batch, to its end)" in told
    assert "What it could not see" in told
    assert "Rules applied: Westgard" in told
    assert "Not sent, and on it (1) X-9" in told


def test_a_reissue_names_what_it_supersedes_and_the_old_one_says_it_counts_no_more(browser):
    assert "This certificate supersedes CT-00001." in browser.get("/results/CT-00002").text
    old = browser.get("/results/CT-00001")
    assert old.status_code == 200
    assert "CT-00002 supersedes it" in old.text
    assert 'action="/results/CT-00001/sign"' not in old.text


def test_an_unknown_batch_is_told(browser):
    assert browser.get("/results/CT-99999").status_code == 404


def test_what_a_laboratory_wrote_is_never_taken_for_markup(browser, yard):
    rows = issued(yard)
    add_certificate(yard, rows[:4], job=MARKUP, day=20, all_rows=rows)
    for address in ("/results", "/results/CT-00004", "/results/element/Au"):
        page = browser.get(address).text
        assert MARKUP not in page
        assert "&lt;script&gt;" in page


# signing


def test_a_signature_is_kept_and_shown(browser, yard):
    answer = sign(browser, word="re-assay")
    assert answer.status_code == 200, text_of(answer.text)
    assert "Signed by Demo QC" in text_of(answer.text)
    with yard.start_work(writing=False) as work:
        stored = work.events_of_objects([("certificate", "CT-00003")])[("certificate", "CT-00003")]
    assert [one.event.kind for one in stored] == ["verdict_signed"]
    assert "Demo QC" in text_of(browser.get("/results").text)


def test_overruling_needs_a_reason_and_then_counts(browser):
    refused = sign(browser, word="use")
    assert refused.status_code == 422
    assert "Give the reason for deciding otherwise" in refused.text
    assert 'value="use" selected' in refused.text  # what was typed stands
    answer = sign(browser, word="use", reason="The blank's bag was torn")
    told = text_of(answer.text)
    assert "Overrules the computed re-assay: The blank&#39;s bag was torn" in told
    assert re.findall(r'<a href="/results/(CT-\d+)">', browser.get("/results?word=re-assay").text) == []


def test_a_verdict_that_changed_meanwhile_is_not_signed(browser, yard):
    answer = sign(browser, word="re-assay", digest="0" * 64)
    assert answer.status_code == 409
    assert "Look at the verdict again" in answer.text
    with yard.start_work(writing=False) as work:
        assert not work.events_of_objects([("certificate", "CT-00003")])


def test_nobody_signs_without_a_name(browser):
    digest = digest_of(browser, "CT-00003", "Au")
    answer = browser.post("/results/CT-00003/sign", data={"element": "Au", "word": "re-assay", "digest-Au": digest})
    assert answer.status_code == 422


# an element


def figure_addresses(page: str) -> list[str]:
    return re.findall(r'data-chart="([^"]+)"', page)


def test_an_element_page_has_a_chart_a_sentence_and_a_table_for_every_series(browser):
    page = browser.get("/results/element/Au").text
    told = text_of(page)
    for title in ("Standard STD-H", "Standard STD-L", "Coarse blank BLK", "Carry-over"):
        assert title in told
    addresses = figure_addresses(page)
    assert len(addresses) >= 8
    assert page.count("<caption") >= len(addresses) - 2
    for address in addresses:
        answer = browser.get(address.replace("&amp;", "&"))
        assert answer.status_code == 200, address
        assert answer.headers["content-type"] == "application/json"
        described = json.loads(answer.text)
        assert described["description"].endswith(".")


def test_every_point_of_a_chart_opens_a_sample_that_is_there(browser):
    page = browser.get("/results/element/Au").text
    numbers = set()
    for address in figure_addresses(page):
        described = json.loads(browser.get(address.replace("&amp;", "&")).text)
        numbers |= {row["number"] for row in described["datasets"].get("points", [])}
    assert numbers
    for number in numbers:
        assert browser.get(f"/sample/{number}").status_code == 200
        assert f'data-number="{number}"' in page  # and its line in a table


def test_superseded_results_are_in_no_chart(browser):
    page = browser.get("/results/element/Cu").text
    address = next(one for one in figure_addresses(page) if "control-std-l" in one)
    described = json.loads(browser.get(address).text)
    assert {row["batch"] for row in described["datasets"]["points"]} == {"CT-00002"}


def test_a_period_and_a_laboratory_narrow_the_page_and_its_charts(browser):
    page = browser.get("/results/element/Au?until=2031-06-04").text
    assert "Standard STD-L" in page
    assert "Standard STD-H" not in page
    assert all("until=2031-06-04" in one for one in figure_addresses(page))
    none = browser.get("/results/element/Au?laboratory=Another")
    assert none.status_code == 200
    assert "No result of Au is in this choice" in none.text


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/results/element/Xx", 404),
        ("/results/element/Au?since=soon", 422),
        ("/results/element/Au?close=std-l&first=9&last=3", 422),
        ("/results/element/Au?close=std-l&first=a&last=3", 422),
        ("/results/element/Au/figure/none.json", 404),
        ("/results/element/Au/table/none", 404),
        ("/charts/0.0/charts.js", 404),
    ],
)
def test_what_is_not_there_is_told(browser, address, status):
    assert browser.get(address).status_code == status


def test_a_chart_has_its_whole_table_on_a_page_of_its_own(browser):
    answer = browser.get("/results/element/Au/table/blanks-blk")
    assert answer.status_code == 200
    assert answer.text.count("<tr data-number") == 3
    assert "#figure-blanks-blk" in answer.text


def test_a_new_certificate_changes_the_page(browser, yard):
    before = browser.get("/results/element/Au").text
    rows = issued(yard)
    standards = [row for row in rows if row.material == "STD-L"]
    add_certificate(yard, standards, job="J-3", day=12, all_rows=rows)
    after = browser.get("/results/element/Au").text
    assert "Standard STD-L (1)" in before
    assert "Standard STD-L (2)" in after


def test_the_drawing_program_is_kept_by_browsers(browser):
    page = browser.get("/results/element/Au").text
    address = re.search(r'data-program="([^"]+)"', page)[1]
    answer = browser.get(address)
    assert answer.headers["content-type"].startswith("text/javascript")
    assert "immutable" in answer.headers["cache-control"]


def test_without_a_drawing_program_the_tables_remain(yard):
    site = build_site(Services(yard.start_work, yard.clock, yard.make_id, yard.papers))
    with TestClient(site, base_url=ADDRESS) as client:
        page = client.get("/results/element/Au").text
    assert "data-program" not in page
    assert "charts.js" not in page
    assert "<caption" in page


# design


def test_a_scheme_is_played_and_a_rate_recommended(browser):
    page = browser.get("/results/design?size=5&campaigns=500").text
    told = text_of(page)
    assert re.search(r"Standards in \d+\.\d% of the tickets show a bias of 5\.00% within a month", told)
    assert told.count("seed 1") == 1
    figures = re.findall(r'<script type="application/json">(.+?)</script>', page)
    assert len(figures) == 2
    shares = [row["share"] for row in json.loads(figures[0])["datasets"]["lines"] if row["window"] == "campaign"]
    assert shares[-1] > shares[0]
    assert page == browser.get("/results/design?size=5&campaigns=500").text  # the same seed, the same answer


def test_contamination_asks_for_blanks(browser):
    told = text_of(browser.get("/results/design?kind=contamination&size=5&campaigns=500").text)
    assert "blanks" in told.split("Recommendation")[1]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("size=abc", "from 0.01 to 100"),
        ("rack_size=7.5", "a whole number from 5 to 1000"),
        ("standard_rate=60", "from 0 to 50"),
        ("kind=flood", "One of: bias, drift, contamination"),
        ("campaigns=10000&tickets_per_batch=2000&batches_per_month=60&months=24", "Take fewer months"),
        ("seed=nan", "a whole number"),
    ],
)
def test_a_design_that_cannot_be_played_says_what_to_type(browser, query, said):
    answer = browser.get(f"/results/design?{query}")
    assert answer.status_code == 422
    assert said in answer.text
    assert "</form>" in answer.text


def test_the_design_form_alone_plays_nothing(browser):
    page = browser.get("/results/design").text
    assert "Recommendation" not in page


# what is asked again, what is released


def test_the_request_for_the_laboratory_holds_no_control(browser):
    page = browser.get("/results/CT-00003").text
    assert "/results/CT-00003/request-laboratory.csv" in page
    for_laboratory = browser.get("/results/CT-00003/request-laboratory.csv")
    assert for_laboratory.headers["content-disposition"] == 'attachment; filename="CT-00003-request-laboratory.csv"'
    lines = for_laboratory.text.splitlines()
    assert "T1018" not in for_laboratory.text  # the blank that failed
    assert len(lines) == 9  # the head, eight samples; the number nobody sent cannot be asked for
    paper = browser.get("/results/CT-00003/request.pdf")
    assert paper.content == b"%PDF CT-00003 8"
    assert paper.headers["content-type"] == "application/pdf"
    for_yard = browser.get("/results/CT-00003/request-yard.csv").text
    assert "T1018" in for_yard
    assert "a failed blank" in for_yard


def test_a_batch_that_can_be_used_asks_for_nothing(browser):
    assert "request-laboratory.csv" not in browser.get("/results/CT-00002").text
    assert browser.get("/results/CT-00002/request-laboratory.csv").status_code == 404
    assert browser.get("/results/CT-00003/request-boss.csv").status_code == 404


def test_a_hole_shows_what_is_released_and_why_the_rest_is_held_back(browser, yard):
    page = browser.get("/hole/SM-01/assays").text
    told = text_of(page)
    samples = [row for row in issued(yard) if row.kind == "sample"]
    assert page.count("the batch says re-assay") >= 7
    assert f"{len(samples)} samples, 7 held back" in told
    assert "Cut-off 0.50 g/t" in told
    assert "no result in this length" in told
    described = json.loads(re.search(r'<script type="application/json">(.+?)</script>', page)[1])
    assert len(described["datasets"]["points"]) == len(samples)
    assert {row["held"] for row in described["datasets"]["points"]} == {"released", "held back"}


def test_an_overruled_batch_is_released(browser):
    sign(browser, word="use", reason="The blank's bag was torn")
    assert "the batch says" not in browser.get("/hole/SM-01/assays").text


@pytest.mark.parametrize("name", ["results", "composites", "intercepts"])
def test_released_assays_come_as_csv(browser, name):
    answer = browser.get(f"/hole/SM-01/assays/{name}.csv?element=Au")
    assert answer.headers["content-type"].startswith("text/csv")
    assert answer.text.splitlines()[0].startswith("hole_id,")
    assert len(answer.text.splitlines()) >= 2


@pytest.mark.parametrize(
    "address",
    ["/hole/NONE/assays", "/hole/SM-01/assays?element=Xx", "/hole/SM-01/assays/all.csv?element=Au",
     "/hole/SM-01/assays/results.csv"],
)  # fmt: skip
def test_assays_that_are_not_there_are_told(browser, address):
    assert browser.get(address).status_code == 404


def test_a_hole_without_results_says_so(browser):
    assert "No assay of this hole can be released yet" in browser.get("/hole/SM-02/assays").text
