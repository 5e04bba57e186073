"""The Data Package description, judged by frictionless as an independent reader of the standard."""

from __future__ import annotations

import hashlib
import json
import warnings

import pytest
from small_yard import TABLES, write_yard

from trayside.errors import NotFound
from trayside.files.datapackage import descriptor_for, write_datapackage
from trayside.model import tables

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what frictionless's own imports warn about is not ours to mend
    from frictionless import Package


def judged(folder):
    """What frictionless says about the package in a folder: the kinds of its errors with their rows and tables."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        report = Package(str(write_datapackage(folder))).validate()
    errors = report.flatten(["type", "rowNumber", "fieldName"])
    return [(task.name, task.valid) for task in report.tasks], errors, report.errors


@pytest.fixture
def folder(tmp_path):
    return write_yard(tmp_path / "yard")


def test_a_good_folder_is_valid(folder):
    tasks, errors, broken = judged(folder)
    assert (errors, broken) == ([], [])
    assert [name for name, _ in tasks] == [table.name for table in tables.TABLES if table.name in TABLES]


def test_a_folder_in_feet_with_its_own_core_sizes_is_valid(tmp_path):
    changes = {
        "surveys": "hole_id,depth_ft,azimuth_deg,dip_deg,instrument\nTS-01,49212.5,90,-60,\n",
        "core_sizes": "core_size,core_diameter_mm,hole_diameter_mm\nNQ,47.6,75.7\nHQ,63.5,\n",
    }
    folder = write_yard(tmp_path / "yard", changes)
    assert judged(folder)[1:] == ([], [])
    schemas = {resource["name"]: resource["schema"] for resource in descriptor_for(folder)["resources"]}
    assert schemas["surveys"]["primaryKey"] == ["hole_id", "depth_ft"]
    assert {"fields": ["core_size"], "reference": {"resource": "core_sizes", "fields": ["core_size"]}} in schemas[
        "runs"
    ]["foreignKeys"]


@pytest.mark.parametrize(
    ("table", "old", "new", "kind"),
    [
        ("runs", "TS-01,2,", "TS-01,1,", "primary-key"),
        ("runs", "TS-02,1", "TS-03,1", "foreign-key"),
        ("rock", "3.1,QV", "3.1,QZ", "foreign-key"),
        ("rock", "blocky", "bloky", "constraint-error"),
        ("surveys", "90.5", "361", "constraint-error"),
        ("surveys", "90.5", "north", "type-error"),
        ("rock", "yes", "maybe", "type-error"),
        ("runs", "TS-01,1,0,", "TS-01,1,,", "constraint-error"),
        ("trays", "1.02 2.05", "1.02 x 2.05", "constraint-error"),
        ("fabric", "90,vein", "90,veín", "constraint-error"),
        ("holes", "cased to 2 m", "x" * 501, "constraint-error"),
    ],
)
def test_what_a_load_refuses_the_description_finds_too(tmp_path, table, old, new, kind):
    assert old in TABLES[table]
    folder = write_yard(tmp_path / "yard", {table: TABLES[table].replace(old, new)})
    assert [error[0] for error in judged(folder)[1]] == [kind]


def test_a_changed_byte_shows_in_the_hash(folder):
    path = write_datapackage(folder)
    runs = folder / "runs.csv"
    runs.write_text(runs.read_text().replace("2.95", "2.94"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        report = Package(str(path)).validate()
    assert [error[0] for error in report.flatten(["type"])] == ["hash-count"]


def test_the_description_says_what_the_tables_say(folder):
    descriptor = json.loads(write_datapackage(folder).read_text(encoding="utf-8"))
    assert descriptor["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    for resource in descriptor["resources"]:
        table, raw = tables.BY_NAME[resource["name"]], (folder / resource["path"]).read_bytes()
        assert resource["bytes"] == len(raw)
        assert resource["hash"] == "sha256:" + hashlib.sha256(raw).hexdigest()
        fields = [field["name"] for field in resource["schema"]["fields"]]
        assert fields == raw.decode().splitlines()[0].split(",")
        for field, column in zip(resource["schema"]["fields"], table.columns, strict=True):
            assert field["description"] == column.meaning
            assert field.get("constraints", {}).get("required", False) == column.required


def test_writing_it_twice_changes_nothing(folder):
    first = write_datapackage(folder).read_bytes()
    assert write_datapackage(folder).read_bytes() == first


def test_a_folder_without_tables_has_nothing_to_describe(tmp_path):
    with pytest.raises(NotFound):
        descriptor_for(tmp_path)
