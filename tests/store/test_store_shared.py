import pytest
from store_yard import frame

from trayside.errors import NotFound
from trayside.model.stock import CoreSize, Material, RockCode, TicketBook

SIZES = [
    {"core_size": "NQ", "core_diameter_mm": 47.6, "hole_diameter_mm": 75.7},
    {"core_size": "X", "core_diameter_mm": 40.0},
]
ROCKS = [{"rock": "GRD", "density_t_m3": 2.7, "density_sd_t_m3": 0.05}]
MATERIALS = [
    {"material": "S-2", "kind": "standard", "in_stock": 40, "mass_g": 60.0, "grade_g_t": 1.5, "lot": "b"},
    {"material": "B-1", "kind": "coarse blank", "in_stock": 90, "mass_g": 1000.0},
]
TICKETS = [
    {"book": "1", "prefix": "A", "first": 1, "last": 500, "digits": 4, "voids": "17 23"},
    {"book": "2", "first": 501, "last": 10**9, "digits": 9, "hole_id": "K-1"},
]


def test_shared_tables_come_back_in_file_order(start_work):
    with start_work() as work:
        for name, rows in {
            "core_sizes": SIZES,
            "rock_codes": ROCKS,
            "materials": MATERIALS,
            "tickets": TICKETS,
        }.items():
            work.replace_shared(name, frame(name, rows), f"digest of {name}")
        work.commit()
    with start_work() as work:
        stock = work.stock()
        assert work.shared_digests()["tickets"] == "digest of tickets"
    assert stock.core_sizes == {"NQ": CoreSize("NQ", 47.6, 75.7), "X": CoreSize("X", 40.0)}
    assert stock.rock_codes == {"GRD": RockCode("GRD", None, 2.7, 0.05)}
    assert stock.materials == (
        Material("S-2", "standard", 40, 60.0, 1.5, "b"),
        Material("B-1", "coarse blank", 90, 1000.0),
    )
    assert stock.tickets == (
        TicketBook("1", "A", 1, 500, 4, None, (17, 23)),
        TicketBook("2", "", 501, 10**9, 9, "K-1"),
    )


def test_a_shared_table_is_read_back_as_it_was_handed_over(start_work):
    with start_work() as work:
        assert work.shared_table("materials").equals(frame("materials", []))
        for name, rows in {"materials": MATERIALS, "tickets": TICKETS, "core_sizes": SIZES}.items():
            work.replace_shared(name, frame(name, rows), "one")
            assert work.shared_table(name).equals(frame(name, rows))
            assert work.shared_table(name).schema == frame(name, rows).schema
        with pytest.raises(NotFound, match="runs"):
            work.shared_table("runs")


def test_a_shared_table_is_replaced_as_a_whole(start_work):
    with start_work() as work:
        work.replace_shared("materials", frame("materials", MATERIALS), "one")
        work.replace_shared("materials", frame("materials", MATERIALS[:1]), "two")
        assert [material.material for material in work.stock().materials] == ["S-2"]
        assert work.shared_digests() == {"materials": "two"}


def test_a_table_of_holes_is_not_shared(start_work):
    with start_work() as work, pytest.raises(NotFound, match="runs"):
        work.replace_shared("runs", frame("runs", []), "one")


def test_rules_are_kept_as_written(start_work):
    text = "# Spüle\nyard = 'Nord'\n"
    with start_work() as work:
        assert work.rules_text() is None
        work.set_rules("yard = 'old'")
        work.set_rules(text)
        work.commit()
    with start_work() as work:
        assert work.rules_text() == text
