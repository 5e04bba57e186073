"""The laboratory's copy reveals no control: a classifier that may learn from other holes does no better than chance.

It is given everything a reader of the copy has: every column of the table, the order, the place in the sack, the digits
of the number, and where and how large each number stands on the page. It learns where the controls of other holes stood,
in several plans of the demo yard, and ranks the bags of a hole it never saw. The same classifier tells controls apart at
once when it is given masses, or when they stand at every twentieth place, so that it could have found something.
"""

from __future__ import annotations

import csv
import io
import shutil
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "journeys"))  # for floor.py

from floor import FOLDER, Yard

from trayside.app.bag_views import hole_bags
from trayside.app.dispatch import make_load, send_load
from trayside.app.load_view import LIST_COLUMNS, LoadView, laboratory_csv, view_load
from trayside.app.pack_sacks import pack, seal_sack, trays_to_pack
from trayside.cli.demo_crew import Crew
from trayside.model.load import Request
from trayside.pages.dispatch_note import dispatch_note_pdf, laboratory_copy_content, laboratory_copy_pdf, note_lines

HOLES = ("VR-01", "VR-02", "VR-04", "VR-O6")
SEEDS = (1, 2, 3, 4)
"""Of the control plan. In a single plan chance alone may seem to have a pattern: whether plans have one shows in several."""
BINS = 8
SOUGHT = (("standard", "blank"), ("standard",), ("blank",), ("duplicate",))


def load_of(yard: Yard, hole_id: str) -> str:
    """A load of a whole hole, not sealed and not sent."""
    Crew(yard, hole_id, seed=len(hole_id) + ord(hole_id[-1])).work_through()
    with yard.start_work(writing=False) as work:
        trays = [(one.hole_id, one.tray) for one in trays_to_pack(hole_bags(work, hole_id))]
    sacks = pack(trays, way="alike", desk=yard.desk(), start_work=yard.start_work)
    request = Request("An invented laboratory", ("fire assay",), hazard="quartz dust")
    load = make_load(request, [one.sack_id for one in sacks], desk=yard.desk(), start_work=yard.start_work)
    return load.load_id


@pytest.fixture(scope="module")
def yards(tmp_path_factory) -> list[list[LoadView]]:
    """For each seed a yard with one load a hole."""
    folder = tmp_path_factory.mktemp("blind")
    return [loads_of_seed(folder / str(seed), seed) for seed in SEEDS]


def loads_of_seed(folder: Path, seed: int) -> list[LoadView]:
    shutil.copytree(FOLDER, folder / "demo")
    rules = (FOLDER / "rules.toml").read_text(encoding="utf-8")
    assert "seed = 4714" in rules
    (folder / "demo" / "rules.toml").write_text(rules.replace("seed = 4714", f"seed = {seed}"), encoding="utf-8")
    yard = Yard(folder / "yard.sqlite")
    for hole_id in HOLES:
        yard.issue(hole_id, folder=folder / "demo")
    names = [load_of(yard, hole_id) for hole_id in HOLES]
    with yard.start_work(writing=False) as work:
        views = [view_load(work, name) for name in names]
    yard.engine.dispose()
    return views


@pytest.fixture(scope="module")
def loads(tmp_path_factory) -> list[LoadView]:
    """Two loads of the demo yard as it is, sent."""
    yard = Yard(tmp_path_factory.mktemp("sent") / "yard.sqlite")
    views = []
    for hole_id in ("VR-02", "VR-O6"):
        yard.issue(hole_id)
        load_id = load_of(yard, hole_id)
        with yard.start_work(writing=False) as work:
            sacks = work.loads.sacks(load_id)
        for sack in sacks:
            seal_sack(sack.sack_id, seal=f"Z{sack.sack_id[-4:]}", counted=len(sack.numbers), desk=yard.desk(),
                      start_work=yard.start_work)  # fmt: skip
        views.append(send_load(load_id, version=1, statement="Looked at.", desk=yard.desk(), start_work=yard.start_work))
    yard.engine.dispose()
    return views


def kinds(view: LoadView) -> list[str]:
    return [bag.row.kind for bag in view.bags]


def boxes(view: LoadView) -> dict[str, tuple[float, ...]]:
    """Page, place and size of each number as printed."""
    document = pypdfium2.PdfDocument(laboratory_copy_pdf(view))
    found = {}
    try:
        for page_number, page in enumerate(document):
            text = page.get_textpage()
            for number in view.numbers:
                search = text.search(number, match_case=True)
                hit = search.get_next()
                if hit is not None and number not in found:
                    rect = text.get_charbox(hit[0]), text.get_charbox(hit[0] + hit[1] - 1)
                    found[number] = (page_number, rect[0][0], rect[0][1], rect[1][2] - rect[0][0], rect[0][3] - rect[0][1])
    finally:
        document.close()
    return found


def what_the_reader_has(view: LoadView) -> np.ndarray:
    """(bags, features) from the table and the page alone."""
    table = list(csv.DictReader(io.StringIO(laboratory_csv(view))))
    printed = boxes(view)
    sizes: dict[str, int] = {}
    places = []
    for row in table:
        sizes[row["sack"]] = sizes.get(row["sack"], 0) + 1
        places.append(sizes[row["sack"]])
    features = []
    for at, row in enumerate(table):
        serial = int("".join(letter for letter in row["number"] if letter.isdigit()))
        features.append(
            [
                at / len(table), at % 5, at % 8, at % 10, at % 20, at % 25, at % 50, places[at], sizes[row["sack"]],
                serial % 2, serial % 5, serial % 7, serial % 10, serial % 25, serial % 100 // 10, len(row["number"]),
                int(row["sack"][-2:]) % 10, *printed[row["number"]],
            ]
        )  # fmt: skip
    return np.array(features, dtype=np.float64)


def scores(train: np.ndarray, labels: np.ndarray, test: np.ndarray) -> np.ndarray:
    """Log odds of a control by naive Bayes over bins of each feature."""
    odds = np.zeros(len(test))
    for column in range(train.shape[1]):
        edges = np.unique(np.quantile(train[:, column], np.linspace(0, 1, BINS + 1)[1:-1]))
        place, wanted = np.searchsorted(edges, train[:, column]), np.searchsorted(edges, test[:, column])
        count = len(edges) + 1
        yes = np.bincount(place[labels], minlength=count) + 1.0
        no = np.bincount(place[~labels], minlength=count) + 1.0
        odds += np.log(yes / yes.sum() / (no / no.sum()))[wanted]
    return odds


def ranked_higher(score: np.ndarray, labels: np.ndarray) -> float:
    """Share of pairs of a control and another bag in which the control has the higher score (half for ties)."""
    yes, no = score[labels], score[~labels]
    return float(((yes[:, None] > no).sum() + 0.5 * (yes[:, None] == no).sum()) / (len(yes) * len(no)))


def told_apart(features: Sequence[Sequence[np.ndarray]], labels: Sequence[Sequence[np.ndarray]]) -> float:
    """How well a hole's controls are told apart by what was learnt from the other holes, over all yards; 0.5 is chance."""
    each = []
    for held in range(len(HOLES)):
        others = [at for at in range(len(HOLES)) if at != held]
        known = np.vstack([yard[at] for yard in features for at in others])
        marks = np.concatenate([yard[at] for yard in labels for at in others])
        score = scores(known, marks, np.vstack([yard[held] for yard in features]))
        each.append(ranked_higher(score, np.concatenate([yard[held] for yard in labels])))
    return float(np.mean(each))


@pytest.fixture(scope="module")
def reader(yards) -> list[list[np.ndarray]]:
    return [[what_the_reader_has(view) for view in views] for views in yards]


def marked(yards, sought: tuple[str, ...]) -> list[list[np.ndarray]]:
    return [[np.array([kind in sought for kind in kinds(view)]) for view in views] for views in yards]


def most_by_chance(labels: list[list[np.ndarray]]) -> float:
    """Three and a half standard deviations above one half: under chance the variance of the share is near 1 / (12 n)."""
    controls = sum(int(marks.sum()) for yard in labels for marks in yard)
    return 0.5 + 3.5 / np.sqrt(12.0 * controls)


@pytest.mark.slow
@pytest.mark.parametrize("sought", SOUGHT, ids=" and ".join)
def test_controls_are_not_told_apart_by_any_column_by_order_or_by_print(yards, reader, sought):
    labels = marked(yards, sought)
    assert told_apart(reader, labels) < most_by_chance(labels) < 0.61


@pytest.mark.slow
def test_no_single_column_tells_controls_apart(yards, reader):
    labels = marked(yards, ("standard", "blank"))
    for column in range(reader[0][0].shape[1]):
        alone = [[known[:, [column]] for known in yard] for yard in reader]
        assert told_apart(alone, labels) < most_by_chance(labels), f"feature {column}"


@pytest.mark.slow
def test_the_same_classifier_tells_controls_apart_by_mass(yards, reader):
    leaky = [
        [np.hstack([known, [[bag.mass_g] for bag in view.bags]]) for known, view in zip(yard, views, strict=True)]
        for yard, views in zip(reader, yards, strict=True)
    ]
    assert told_apart(leaky, marked(yards, ("standard", "blank"))) > 0.8


@pytest.mark.slow
def test_the_same_classifier_finds_controls_at_every_twentieth_place(reader):
    labels = [[np.arange(len(known)) % 20 == 7 for known in yard] for yard in reader]
    assert told_apart(reader, labels) > 0.9


@pytest.mark.slow
def test_the_mass_of_a_sack_would_tell_where_standards_are(yards, reader):
    """Why no mass of a sack stands on the copy: a sack with light standards in it weighs less."""
    leaky = []
    for views in yards:
        kg = [{number: sack.contents_g for sack in view.sacks for number in sack.sack.numbers} for view in views]
        leaky.append(
            [np.array([[mass[number]] for number in view.numbers], dtype=np.float64) for mass, view in zip(kg, views, strict=True)]
        )
    labels = marked(yards, ("standard",))
    assert told_apart(leaky, labels) > most_by_chance(labels)


def test_sacks_packed_alike_hold_as_many_bags_whatever_is_in_them(loads):
    for view in loads:
        sizes = [len(sack.sack.numbers) for sack in view.sacks]
        assert len(set(sizes[:-1])) == 1
        assert sizes[-1] <= sizes[0]


def test_the_table_has_no_other_column_than_these():
    assert LIST_COLUMNS == ("line", "number", "sack", "seal")


def test_the_copy_names_no_kind_no_material_no_hole_and_no_mass_of_a_bag(loads):
    for view in loads:
        document = pypdfium2.PdfDocument(laboratory_copy_pdf(view))
        try:
            text = " ".join(page.get_textpage().get_text_range() for page in document).casefold()
            told = str(document.get_metadata_dict()).casefold()
        finally:
            document.close()
        for bag in view.bags:
            for secret in (bag.row.material, bag.row.rock, bag.hole_id, f"{bag.mass_g / 1000:.2f}"):
                assert secret is None or secret.casefold() not in text, secret
        for word in ("standard", "blank", "duplicate", "control", "depth", "grade"):
            assert word not in text, word
            assert word not in told, word
        assert str(round(view.mass_kg)) in text


def test_what_is_printed_is_made_from_the_list_alone(loads):
    """Two loads that differ only in what their bags are make the same copy."""
    view = loads[0]
    hidden = [
        replace(sack, bags=tuple(None for _ in sack.bags)) for sack in view.sacks
    ]  # nothing is known of any bag
    blind = laboratory_copy_content(replace(view, sacks=tuple(hidden)))
    told = laboratory_copy_content(view)
    assert {name: value for name, value in told.items() if name != "mass"} == {
        name: value for name, value in blind.items() if name != "mass"
    }


def test_a_load_of_few_bags_prints_no_mass(loads):
    few = replace(loads[0].sacks[0], sack=replace(loads[0].sacks[0].sack, numbers=loads[0].numbers[:3]),
                  bags=loads[0].sacks[0].bags[:3])  # fmt: skip
    assert laboratory_copy_content(replace(loads[0], sacks=(few,)))["mass"] == ""


def test_the_yards_own_note_names_every_control_and_the_ledgers_hash(loads):
    view = loads[0]
    document = pypdfium2.PdfDocument(dispatch_note_pdf(view))
    try:
        text = " ".join(" ".join(page.get_textpage().get_text_range() for page in document).split())
    finally:
        document.close()
    assert view.load.ledger_hash[:32] in text
    assert view.load.ledger_hash[32:] in text
    for line in note_lines(view):
        assert line["number"] in text
    assert text.count("STANDARD") == kinds(view).count("standard")
    assert text.count("BLANK") == kinds(view).count("blank")
    assert "DRAFT" not in text
    for words in ("Custody", "Given by, signature", "Looked at.", "Mass would show", "An invented laboratory"):
        assert words in text, words
