"""What the masses of a whole demo hole teach: a saw that moved, a rock that is heavier, core of another size; and silence."""

from __future__ import annotations

import pytest
from floor import Yard

from trayside.app.bag_views import hole_bags
from trayside.app.mass_lessons import learn_from_hole
from trayside.app.yard_rules import rules_of
from trayside.cli.demo_crew import Crew
from trayside.core.cut_geometry import cut_pieces

HOLE = "VR-01"
SHIFT_MM = 2.0


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    path = tmp_path_factory.mktemp("lessons") / "yard.sqlite"
    yard = Yard(path)
    yard.issue(HOLE)
    yard.engine.dispose()
    return path


@pytest.fixture
def crew(template, tmp_path):
    import shutil

    yard = Yard(shutil.copy(template, tmp_path / "yard.sqlite"))
    yield Crew(yard, HOLE)
    yard.engine.dispose()


def lessons(crew):
    crew.work_through()
    with crew.floor.start_work(writing=False) as work:
        return learn_from_hole(
            hole_bags(work, HOLE), core=work.hole_core(HOLE), rules=rules_of(work), stock=work.stock()
        )


def told(lessons, code):
    return [one for one in (*lessons.findings, *lessons.witness.findings) if one.code == code]


def halves(crew):
    return [row for row in crew.rows if row.is_core and row.portion == "half" and row.side]


def test_without_a_fault_nothing_is_learned_that_is_not_so(crew):
    found = lessons(crew)
    assert told(found, "mass.saw_off") == told(found, "mass.alignment") == told(found, "mass.group") == []
    (saw,) = found.offsets
    assert abs(saw.now - saw.before) < 3 * saw.now_sd + 0.3
    assert saw.now_sd < saw.before_sd / 5
    for rock in found.densities:
        assert abs(rock.now - rock.before) < 3 * rock.before_sd
        assert rock.now_sd <= rock.before_sd


def test_a_blade_that_moved_is_learned_and_its_halves_say_since_when(crew):
    rows = halves(crew)
    start = len(rows) // 3
    diameter = {name: size.core_diameter_mm for name, size in crew.stock.core_sizes.items()}
    for row in rows[start:]:
        cut = {"core_diameter_mm": diameter[row.core_size], "kerf_mm": crew.rules.cut.kerf_mm}
        planned = cut_pieces(offset_mm=crew.rules.cut.offset_mm, **cut)
        moved = cut_pieces(offset_mm=crew.rules.cut.offset_mm + SHIFT_MM, **cut)
        near = row.side == crew.rules.cut.bag_side
        share = moved.near_mm2 / planned.near_mm2 if near else moved.far_mm2 / planned.far_mm2
        crew.mass_g[row.number] = round(crew.mass_g[row.number] * float(share))
    found = lessons(crew)
    (finding,) = told(found, "mass.alignment")
    assert finding.evidence["shift_mm"] == pytest.approx(SHIFT_MM, abs=0.8)
    numbers = [row.number for row in crew.rows]
    assert abs(numbers.index(finding.evidence["first"]) - numbers.index(rows[start].number)) <= len(numbers) // 4
    (off,) = told(found, "mass.saw_off")
    assert 0.6 < off.evidence["off_mm"] < SHIFT_MM + 0.3, "a third of the bags was cut before it moved"
    assert "toward the half that is bagged" in off.message


def test_a_rock_heavier_than_planned_moves_its_own_density_and_no_saw(crew):
    heavy = [row for row in halves(crew) if row.rock == "GWK"]
    assert len(heavy) >= 8
    for row in heavy:
        crew.mass_g[row.number] = round(crew.mass_g[row.number] * 1.03)
    found = lessons(crew)
    rock = next(one for one in found.densities if one.name == "GWK")
    others = [one for one in found.densities if one.name != "GWK"]
    assert rock.now - rock.before > 0.02
    assert all(abs(one.now - one.before) < 2 * one.before_sd for one in others)
    assert told(found, "mass.saw_off") == []


def test_core_of_another_size_shows_in_its_group_with_the_size_that_explains_it(crew):
    rows = halves(crew)
    group = max(
        ({(row.rock, row.method, row.core_size) for row in rows}),
        key=lambda name: sum((row.rock, row.method, row.core_size) == name for row in rows),
    )
    own = crew.stock.core_sizes[group[2]].core_diameter_mm
    sizes = {name: size.core_diameter_mm for name, size in crew.stock.core_sizes.items()}
    larger = min((name for name in sizes if sizes[name] > own * 1.25), key=sizes.get)
    for row in crew.rows:
        if (row.rock, row.method, row.core_size) == group:
            crew.mass_g[row.number] = round(crew.mass_g[row.number] * (sizes[larger] / own) ** 2)
    found = lessons(crew)
    (finding,) = told(found, "mass.group")
    explained = finding.evidence["explained_by"]
    assert sizes[explained] == pytest.approx(sizes[larger], rel=0.03)
    assert finding.evidence["ratio"] == pytest.approx((sizes[larger] / own) ** 2, rel=0.05)
    assert told(found, "mass.other_half") == []
    light_or_heavy = told(found, "mass.light") + told(found, "mass.heavy")
    assert len(light_or_heavy) <= 5, "the group is told once, not bag by bag"


def test_the_chart_says_what_it_could_not_see(crew):
    found = lessons(crew)
    (chart,) = found.charts
    assert len(chart.pairs) >= 8
    pairs = [count for _, count in chart.pairs_to_see]
    assert pairs == sorted(pairs, reverse=True), "a larger shift shows sooner"
    assert chart.pairs_to_false_alarm > 100
    assert found.witness.pairs_unseen > 0
