"""What a good folder becomes: stored columns, exact millimetres, texts kept, blanks null."""

from __future__ import annotations

import polars
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_yard import TABLES, write_yard

from trayside.core.core_sizes import CORE_SIZES
from trayside.core.units import metres_from_feet, whole_mm
from trayside.files.columns import TYPES, type_columns
from trayside.files.csv_table import read_csv_table
from trayside.files.yard_folder import read_yard_folder
from trayside.model import tables
from trayside.model.rules import Rules


def test_every_table_has_its_stored_columns_with_their_types(loaded):
    yard = loaded()
    assert set(yard.tables) == {table.name for table in tables.TABLES}
    for table in tables.TABLES:
        wanted = [pair for column in table.columns for pair in zip(column.stored, TYPES[column.kind], strict=True)]
        assert list(yard.tables[table.name].schema.items()) == wanted


def test_lengths_rest_as_millimetres_beside_what_was_written(loaded):
    runs = loaded().tables["runs"]
    assert runs["to_mm"].to_list() == [3000, 6050, 3050]
    assert runs["to_entered"].to_list() == ["3.0 m", "6.05 m", "3.05 m"]
    assert runs["rqd_mm"].to_list() == [2500, None, 1100]
    assert runs["rqd_entered"].to_list() == ["2.5 m", None, "1.1 m"]


def test_feet_are_converted_exactly_and_kept_as_written(loaded):
    surveys = loaded({"surveys": "hole_id,depth_ft,azimuth_deg,dip_deg\nTS-01,10,90,-60\nTS-01,615.0,91,-61\n"}).tables[
        "surveys"
    ]
    # 85 FR 62698, 5 October 2020: foot = 0.3048 m exactly (seen). 10 ft = 3.048 m, 615 ft = 187.452 m.
    assert surveys["depth_mm"].to_list() == [3048, 187452]
    assert surveys["depth_entered"].to_list() == ["10 ft", "615.0 ft"]
    assert surveys["instrument"].to_list() == [None, None]


def test_lists_of_lengths_rest_as_millimetres(loaded):
    text = TABLES["trays"].replace("1.02 2.05 3.1", " 1.02; 2.05  3.1 ").replace("8.2,4,1.05,,", "8.2,1,1.05,,")
    trays = loaded({"trays": text}).tables["trays"]
    assert trays["row_ends_mm"].to_list() == ["1020 2050 3100", None, None]
    assert trays["row_ends_entered"].to_list() == ["1.02; 2.05  3.1 m", None, None]


def test_lists_of_lengths_in_feet(loaded):
    text = "hole_id,tray,from_ft,to_ft,rows,row_length_m,row_ends_ft\nTS-01,1,0,10,3,1.05,3.3 6.7\nTS-02,1,0,10,1,1,\n"
    assert loaded({"trays": text}).tables["trays"]["row_ends_mm"].to_list() == ["1006 2042", None]


def test_words_are_stored_as_listed_and_yes_no_as_truth(loaded):
    rock = (
        "hole_id,from_m,to_m,rock,hardness,condition,grade_class,contact,vein,sampling\n"
        "TS-01,0,1,GRD,r4, Intact ,barren,SOFT,YES,\n"
        "TS-01,1,2,GRD,,CLAY,low,hard,0,Never\n"
        "TS-01,2,3,GRD,,clay,low,hard,,rules\n"
        "TS-01,3,4,GRD,,clay,low,hard,true,rules\n"
        "TS-01,4,5,GRD,,clay,low,hard,false,rules\n"
    )
    frame = loaded({"rock": rock}).tables["rock"]
    assert frame["hardness"].to_list() == ["R4", None, None, None, None]
    assert frame["condition"].to_list() == ["intact", "clay", "clay", "clay", "clay"]
    assert frame["contact"].to_list()[0] == "soft"
    assert frame["vein"].to_list() == [True, False, None, True, False]
    assert frame["sampling"].to_list() == [None, "never", "rules", "rules", "rules"]


@pytest.mark.parametrize(
    ("written", "meant"),
    [(" 41 ", 41.0), ("4.1e1", 41.0), ("+41", 41.0), (".5", 0.5), ("41.", 41.0), ("0041", 41.0), ("0", 0.0)],
)
def test_plain_numbers_and_exponents_are_read(loaded, written, meant):
    fabric = loaded({"fabric": f"hole_id,depth_m,alpha_deg,kind\nTS-01,2,{written},joint\n"}).tables["fabric"]
    assert fabric["alpha_deg"].to_list() == [meant]


def test_a_whole_number_with_zeros_after_the_point_is_whole(loaded):
    text = TABLES["runs"].replace(",4,NQ", ",4.0,NQ")
    assert loaded({"runs": text}).tables["runs"]["fractures"].to_list() == [4, None, 12]


def test_blank_and_zero_stay_apart(loaded):
    text = TABLES["runs"].replace("2.5,2.7,4,NQ", "0,,0,NQ")
    runs = loaded({"runs": text}).tables["runs"]
    assert runs["rqd_mm"].to_list()[:2] == [0, None]
    assert runs["solid_mm"].to_list()[0] is None
    assert runs["fractures"].to_list()[:2] == [0, None]


def test_core_sizes_are_supplied_when_the_table_is_absent(loaded):
    sizes = loaded().tables["core_sizes"]
    shipped = [(size.code, size.core_diameter_mm, size.hole_diameter_mm) for size in CORE_SIZES]
    assert sizes.rows() == shipped
    assert sizes.columns == [name for column in tables.CORE_SIZES.columns for name in column.stored]


def test_own_core_sizes_replace_the_shipped_ones(loaded):
    text = "core_size,core_diameter_mm\nNQ,47.6\nHQ,63.5\n"
    assert loaded({"core_sizes": text}).tables["core_sizes"].rows() == [("NQ", 47.6, None), ("HQ", 63.5, None)]


def test_optional_tables_may_be_absent_or_hold_only_a_header(loaded):
    yard = loaded({"surveys": None, "losses": "hole_id,from_m,lost_m,position\n"})
    assert "surveys" not in yard.tables
    assert yard.tables["losses"].height == 0
    assert yard.tables["losses"].schema["lost_mm"] == polars.Int64


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.rstrip("\n"),
        lambda text: text + "\n\n",
        lambda text: text.replace("\nTS-02", "\n\n,,,,,,,,,\nTS-02"),
        lambda text: text.replace("\nTS-01,2", '\n"TS-01","2"'),
        lambda text: text.replace("TS-01,2,3.0", " TS-01 ,2 , 3.0"),
    ],
    ids=["byte order mark", "CRLF", "no last line end", "blank lines at the end", "blank rows", "quotes", "spaces"],
)
def test_forms_that_mean_the_same_read_the_same(loaded, spoil):
    plain = loaded().tables["runs"]
    again = loaded({"runs": spoil(TABLES["runs"])}).tables["runs"]
    assert again.equals(plain)


def test_columns_may_stand_in_any_order(loaded):
    rows = [line.split(",") for line in TABLES["runs"].splitlines()]
    turned = "\n".join(",".join(reversed(row)) for row in rows) + "\n"
    assert loaded({"runs": turned}).tables["runs"].equals(loaded().tables["runs"])


def test_quoted_commas_and_quotes_belong_to_the_text(loaded):
    text = TABLES["holes"].replace("cased to 2 m", '"cased, 2 m of ""HW"""')
    assert loaded({"holes": text}).tables["holes"]["remark"].to_list() == [None, 'cased, 2 m of "HW"']


def test_letters_of_any_script_are_fine_in_texts(loaded):
    text = TABLES["holes"].replace("cased to 2 m", "entubado até 2 m – señal ≈ 砂")
    assert loaded({"holes": text}).tables["holes"]["remark"][1] == "entubado até 2 m – señal ≈ 砂"


def test_file_and_table_names_in_capitals_are_found(tmp_path):
    folder = write_yard(tmp_path / "yard", {"runs": None})
    (folder / "Runs.CSV").write_text(TABLES["runs"])
    (folder / "notes.txt").write_text("left alone")
    (folder / "photos").mkdir()
    assert read_yard_folder(folder).tables["runs"].height == 3


def test_rules_are_read_and_their_text_kept(loaded):
    text = 'yard = "Elsewhere"\n[cut]\nkerf_mm = 2.2\n'
    yard = loaded(rules=text)
    assert (yard.rules.yard, yard.rules.cut.kerf_mm, yard.rules_text) == ("Elsewhere", 2.2, text)


def test_without_rules_the_defaults_hold(loaded):
    yard = loaded(rules=None)
    assert (yard.rules, yard.rules_text) == (Rules(), None)


def test_odd_runs_and_trays_load(loaded):
    runs = TABLES["runs"].replace("TS-01,2,3.0,6.05", "TS-01,2,9.0,6.05")
    trays = TABLES["trays"].replace("TS-01,2,4.1,8.2", "TS-01,1,8.2,4.1")
    yard = loaded({"runs": runs, "trays": trays})
    assert yard.tables["runs"]["from_mm"].to_list()[1] == 9000
    assert yard.tables["trays"]["tray"].to_list() == [1, 1, 1]


METRES = st.decimals(min_value=0, max_value=15_000, places=5)
FEET = st.decimals(min_value=0, max_value=49_000, places=4)


@given(st.lists(st.tuples(METRES, FEET), min_size=1, max_size=30))
def test_millimetres_agree_with_the_one_conversion_of_core(pairs):
    for header, written, metres in (
        ("depth_m", [pair[0] for pair in pairs], [float(pair[0]) for pair in pairs]),
        ("depth_ft", [pair[1] for pair in pairs], [metres_from_feet(depth_ft=float(pair[1])) for pair in pairs]),
    ):
        raw = f"hole_id,{header},azimuth_deg,dip_deg\n" + "".join(f"A,{one},0,0\n" for one in written)
        text, faults = read_csv_table(tables.SURVEYS, raw.encode())
        typed, more = type_columns(tables.SURVEYS, text)
        assert faults + more == []
        assert typed.frame["depth_mm"].to_list() == [whole_mm(depth_m=one) for one in metres]
        assert typed.frame["depth_entered"].to_list() == [f"{one} {header.rpartition('_')[2]}" for one in written]
