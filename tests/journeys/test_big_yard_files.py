"""The generated yard for measuring: the same arguments write the same bytes, and it has no fault of any kind."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from trayside.files.yard_folder import read_yard_folder

SOURCE = Path(__file__).resolve().parents[2] / "benchmarks" / "big_yard.py"


@pytest.fixture(scope="module")
def write_big_yard():
    spec = importlib.util.spec_from_file_location("big_yard_under_test", SOURCE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.write_big_yard


def test_the_same_seed_writes_the_same_bytes_and_another_seed_others(write_big_yard, tmp_path):
    first = write_big_yard(tmp_path / "a", holes=3, metres=120.0, seed=5)
    again = write_big_yard(tmp_path / "b", holes=3, metres=120.0, seed=5)
    other = write_big_yard(tmp_path / "c", holes=3, metres=120.0, seed=6)
    names = sorted(path.name for path in first.iterdir())
    assert all((first / name).read_bytes() == (again / name).read_bytes() for name in names)
    assert (first / "rock.csv").read_bytes() != (other / "rock.csv").read_bytes()


@pytest.mark.parametrize("metres", [60.0, 300.0, 301.5])
def test_it_loads_without_a_fault_and_the_log_covers_every_hole(write_big_yard, tmp_path, metres):
    folder = read_yard_folder(write_big_yard(tmp_path / "yard", holes=4, metres=metres, seed=2))
    assert folder.tables["holes"]["total_depth_mm"].sum() == 4 * metres * 1000
    rock = folder.tables["rock"]
    assert int((rock["to_mm"] - rock["from_mm"]).sum()) == 4 * metres * 1000
    for table in ("runs", "trays"):
        frame = folder.tables[table]
        assert int((frame["to_mm"] - frame["from_mm"]).sum()) == 4 * (metres - 3.0) * 1000
        assert frame["to_mm"].max() == metres * 1000
