"""A plan is old when what it was computed from changed, and only then."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace

import openpyxl
import pytest

from trayside.app.hole_view import NOT_PLANNED_BY, NOT_PLANNED_ON, plan_digest
from trayside.app.load_yard import load_yard
from trayside.files.yard_folder import read_yard_folder
from trayside.model.hole import Density, Hole, HoleCore, Loss, Rock, Run, Tray
from trayside.model.rules import Rules
from trayside.model.stock import CoreSize, RockCode, Stock

RUN = Run(1, 0, 3000, 2900, "NQ", 2000, 2500, 4, "0 m", "3 m", "wet")
CORE = HoleCore(
    Hole("A-1", "north", 0.0, 0.0, 0.0, 90.0, -60.0, 3000, "3 m", "dry"),
    runs=(RUN,),
    losses=(Loss(1000, 100, "seen", "ground"),),
    trays=(Tray(1, 0, 3000, 3, 1000, (1000, 2000), "red"),),
    rock=(Rock(0, 3000, "GRD", "intact", "low", "soft", "R4", True, "always", "sulphide"),),
    densities=(Density(100, 200, "given", 800.0, 500.0, 2.7),),
)
SIZE, CODE = CoreSize("NQ", 47.6, 75.7), RockCode("GRD", "granodiorite", 2.7, 0.05)
STOCK = Stock({"NQ": SIZE}, {"GRD": CODE}, (), ())


def other(value):
    """The same kind of value, but another."""
    match value:
        case bool():
            return not value
        case str():
            return value + "x"
        case int() | float():
            return value + 1
        case tuple():
            return (*value, 2500)
    raise AssertionError(f"no other value for {value!r}")


def cores():
    """The hole with one field changed at a time, and the name of that field."""
    yield from ((field, replace(CORE, hole=changed)) for field, changed in changes(CORE.hole))
    for part in ("runs", "losses", "trays", "rock", "densities"):
        for field, changed in changes(getattr(CORE, part)[0]):
            yield field, replace(CORE, **{part: (changed,)})


def changes(record):
    assert is_dataclass(record)
    for field in fields(record):
        yield field.name, replace(record, **{field.name: other(getattr(record, field.name))})


@pytest.mark.parametrize(("field", "core"), [pytest.param(*one, id=f"{n}-{one[0]}") for n, one in enumerate(cores())])
def test_a_field_either_takes_part_in_planning_or_makes_no_plan_old(field, core):
    same = plan_digest(core, STOCK, Rules()) == plan_digest(CORE, STOCK, Rules())
    assert same == (field in NOT_PLANNED_ON)


def test_the_diameter_and_the_density_take_part_and_names_do_not():
    def digest(size=SIZE, code=CODE):
        return plan_digest(CORE, Stock({"NQ": size}, {"GRD": code}, (), ()), Rules())

    assert digest(code=replace(CODE, name="granite")) == digest()
    assert digest(size=replace(SIZE, hole_diameter_mm=76.0)) == digest()
    assert (
        len({digest(), digest(replace(SIZE, core_diameter_mm=47.0)), digest(code=replace(CODE, density_t_m3=2.6))}) == 3
    )


@pytest.mark.parametrize(
    ("section", "setting", "value"),
    [
        ("paper", "length_unit", "ft"),
        ("bench", "wash", "never"),
        ("dispatch", "sack_kg", 15.0),
        ("orientation", "drift_deg", 10.0),
        ("density", "rock_sds", 3.0),
        ("sampling_error", "grain_mm", 0.5),
        ("sampling", "nominal_m", 0.9),
        ("cut", "kerf_mm", 2.0),
        ("mass", "coverage", 2.0),
        ("controls", "seed", 2),
        ("numbers", "check_character", "damm"),
        ("depth", "loss_place", "stretch"),
        ("trays", "block_m", 0.05),
    ],
)
def test_settings_that_no_plan_is_computed_from_make_none_old(section, setting, value):
    rules = Rules.model_validate({section: {setting: value}})
    same = plan_digest(CORE, STOCK, rules) == plan_digest(CORE, STOCK, Rules())
    assert same == (section in NOT_PLANNED_BY)


def test_every_name_that_is_left_out_exists():
    records = (CORE.hole, RUN, CORE.losses[0], CORE.trays[0], CORE.rock[0], CORE.densities[0], SIZE, CODE)
    assert {field.name for record in records for field in fields(record)} >= NOT_PLANNED_ON
    assert set(Rules.model_fields) >= NOT_PLANNED_BY


def test_a_table_that_was_saved_again_by_a_spreadsheet_makes_no_plan_old(planned):
    """3.0 comes back as 3 and a remark was added: the same metres."""
    planned.rows("holes", "A-1")[0]["remark"] = "cased to 2 m"
    for run in planned.rows("runs", "A-1"):
        run |= {"from_m": f"{run['from_m']:.2f}", "to_m": f"{run['to_m']:.2f}", "remark": "wet"}
    assert planned.load().holes_changed == ("A-1",)
    assert not planned.view().stale
    assert planned.issue().revision == 1


def test_a_workbook_after_files_of_the_same_values_makes_no_plan_old(yard, tmp_path):
    """Files say 3.00, cells of a workbook 3."""
    for run in yard.tables["runs"]:
        run |= {"from_m": f"{run['from_m']:.2f}", "to_m": f"{run['to_m']:.2f}"}
    yard.load()
    yard.plan()
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in yard.tables.items():
        sheet = book.create_sheet(name)
        columns = list(dict.fromkeys(column for row in rows for column in row))
        sheet.append(columns)
        for row in rows:
            cells = [row.get(column) for column in columns]
            sheet.append(
                [
                    float(cell) if column.endswith("_m") else cell or None
                    for column, cell in zip(columns, cells, strict=True)
                ]
            )
        if not rows:
            book.remove(sheet)
    (tmp_path / "rules.toml").write_text(yard.rules)
    book.save(tmp_path / "yard.xlsx")
    report = load_yard(tmp_path / "yard.xlsx", read_folder=read_yard_folder, start_work=yard.start_work)
    assert report.holes_changed == ("A-1", "C-7"), "the text as entered is another"
    assert not yard.view().stale


def test_surveys_marks_and_planes_make_no_plan_old(planned):
    planned.tables["surveys"] = [{"hole_id": "A-1", "depth_m": 10, "azimuth_deg": 91, "dip_deg": -61}]
    planned.tables["fabric"] = [{"hole_id": "A-1", "depth_m": 10, "alpha_deg": 45, "kind": "vein"}]
    assert planned.load().holes_changed == ("A-1",)
    assert not planned.view().stale
