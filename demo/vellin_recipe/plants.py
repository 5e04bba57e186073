"""The planted faults: each changes a few rows of one hole and names the finding that must come of it.

    VR-01  I3  a vein of 6 cm with soft walls: too thin for a bag of its own (seen when planning)
    VR-02  O1  the drawn line turns 35 degrees over the last 60 m
    VR-03  D2  a rod drilled but not counted below 60 m, put right below 115 m (the tray that holds its core is
               fuller than its tag allows); T2 a tray tag that runs uphole
    VR-04  D1  core left in the hole by one run, picked up by the next; T4 a tray number left out;
           O2  one orientation mark 40 degrees off; I5 a vein of 6 cm between hard contacts (seen when planning)
    VR-05  D3  one block written in feet; D6 an RQD longer than the core; T1 a tray number used twice
    VR-06  D4  a run that starts 0.20 m above the block before; T3 half a metre between two tray tags;
           I1  two logged intervals that share 0.15 m
    VR-07  I4  logged 0.9 m deeper than the hole
    VR-O6  D5  a loss of 0.80 m nobody placed; I2 0.40 m without a log; G1 a density stick 25 % too light;
           N1  its name looks like VR-06
    yard   S1  four insertions left of one standard

Faults of the bench and of assays (A1 and on) belong to later work; nothing of them is planted here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

from .drilling import MissedRod
from .rock_log import rock_at
from .shapes import Expected, FabricRow, HoleRows, LossRow, MarkRow, RockRow, RunRow

MISSED_RODS = {"VR-03": MissedRod(from_cm=6_000, corrected_cm=11_500)}
DRIFT_HOLE, DRIFT_LENGTH_CM, DRIFT_DEG = "VR-02", 6_000, 35.0


def line_turn(hole_id: str, total_cm: int) -> Callable[[int], float]:
    """How far the drawn line has turned from the marks at a depth, in degrees."""
    start_cm = total_cm - DRIFT_LENGTH_CM

    def turn(depth_cm: int) -> float:
        if hole_id != DRIFT_HOLE or depth_cm <= start_cm:
            return 0.0
        return DRIFT_DEG * (depth_cm - start_cm) / DRIFT_LENGTH_CM

    return turn


def planted(holes: dict[str, HoleRows]) -> list[Expected]:
    """Plant every fault; the findings come back in the order of the list above."""
    return [
        _thin_vein_soft(holes["VR-01"]),
        _drift(holes["VR-02"]),
        *_missed_rod(holes["VR-03"]),
        _reversed_tag(holes["VR-03"], tray=21),
        _core_left_in_hole(holes["VR-04"]),
        _number_left_out(holes["VR-04"], tray=19),
        _lone_mark(holes["VR-04"]),
        *_thin_vein_hard(holes["VR-04"]),
        _block_in_feet(holes["VR-05"]),
        _rqd_too_long(holes["VR-05"]),
        _number_twice(holes["VR-05"], tray=23),
        _run_overlap(holes["VR-06"]),
        _tray_gap(holes["VR-06"], tray=12),
        _rock_overlap(holes["VR-06"]),
        _beyond_core(holes["VR-07"]),
        *_unplaced_loss(holes["VR-O6"]),
        _rock_gap(holes["VR-O6"]),
        _light_stick(holes["VR-O6"]),
        Expected("N1", None, "number.look_alike", "note", "VR-06 and VR-O6 differ in a zero and the letter O"),
        Expected("S1", None, "stock.low", "warn", "4 insertions of STD-D left, 10 is the least"),
    ]


def _thin_vein(hole: HoleRows, contact: str) -> tuple[int, int]:
    """6 cm of quartz in the middle of the longest weak halo."""
    row = max((row for row in hole.rock if row.grade_class == "low"), key=lambda row: row.to_cm - row.from_cm)
    top = (row.from_cm + row.to_cm) // 2
    vein = RockRow(top, top + 6, "QZV", "R5", "intact", "medium", contact, vein=True)
    below = replace(row, from_cm=top + 6, contact=contact)
    place = hole.rock.index(row)
    hole.rock[place : place + 1] = [replace(row, to_cm=top), vein, below]
    hole.fabric.append(FabricRow(top, 62, None, 53, "vein"))
    hole.fabric.sort(key=lambda plane: plane.depth_cm)
    return top, top + 6


def _thin_vein_soft(hole: HoleRows) -> Expected:
    return Expected("I3", hole.site.hole_id, "plan.vein_widened", "note",
                    "a vein of 0.06 m is widened to the shortest sample", *_thin_vein(hole, "soft"), stage="plan")  # fmt: skip


def _thin_vein_hard(hole: HoleRows) -> list[Expected]:
    """Nothing may cross its walls, so the sample stays too short and its bag too light, and both are said."""
    place = _thin_vein(hole, "hard")
    return [
        Expected("I5", hole.site.hole_id, "plan.too_short", "warn", "0.06 m between hard contacts", *place, stage="plan"),
        Expected("I5", hole.site.hole_id, "plan.bag_light", "warn", "half of 0.06 m weighs about 0.1 kg", *place,
                 stage="plan"),
    ]  # fmt: skip


def _drift(hole: HoleRows) -> Expected:
    """The marks stay true, the line leaves them; a mark at every run so that nothing hides the turn."""
    turn = line_turn(hole.site.hole_id, hole.site.total_cm)
    start = hole.site.total_cm - DRIFT_LENGTH_CM
    kept = [mark for mark in hole.marks if mark.depth_cm <= start]
    noise = (0, 1, -1, 1, 0, -1, 0, 1, -1)
    depths = [run.to_cm for run in hole.runs if start < run.to_cm]
    turned = [
        MarkRow(depth, round(turn(depth)) + noise[index % len(noise)], "solid", "locked")
        for index, depth in enumerate(depths)
    ]
    hole.marks[:] = kept + turned
    return Expected("O1", hole.site.hole_id, "orientation.drift", "warn", "the line turns 35 degrees over 60 m",
                    start, hole.site.total_cm)  # fmt: skip


def _missed_rod(hole: HoleRows) -> list[Expected]:
    """Made while drilling (see drilling.MissedRod): core without depth, and further down the same depth without core."""
    long = next(run for run in hole.runs if run.recovered_cm - run.advance_cm > 250)
    short = next(run for run in hole.runs if run.run > long.run and run.advance_cm - run.recovered_cm > 250)
    hole_id = hole.site.hole_id
    full = next(tray for tray in hole.trays if tray.to_cm >= long.to_cm)
    return [
        Expected("D2", hole_id, "tray.overfull", "warn", "3 m of core lie between two depths 0.10 m apart",
                 full.from_cm, full.to_cm, tray=full.tray),
        Expected("D2", hole_id, "run.rod_missing", "stop", "3 m of core from a block that went 0.10 m deeper",
                 long.from_cm, long.to_cm, run=long.run),
        Expected("D2", hole_id, "run.rod_extra", "stop", "5.90 m between blocks, one rod of core: here the count is put right",
                 short.from_cm, short.to_cm, run=short.run),
    ]  # fmt: skip


def _reversed_tag(hole: HoleRows, *, tray: int) -> Expected:
    place, row = _tray(hole, tray)
    hole.trays[place] = replace(row, from_cm=row.to_cm, to_cm=row.from_cm, row_ends_cm=())
    return Expected("T2", hole.site.hole_id, "tray.reversed", "stop", "the two depths of the tag are exchanged",
                    row.from_cm, row.to_cm, tray=tray)  # fmt: skip


def _core_left_in_hole(hole: HoleRows) -> Expected:
    """27 cm stay in the hole, 22 cm of them come up with the next run; both stay clear of the low-recovery limit."""
    first, second = _sound_pair(hole, 9_000)
    _measure(hole, first, 273)
    _measure(hole, second, 322)
    return Expected("D1", hole.site.hole_id, "run.gain_beside_loss", "warn",
                    "0.27 m lost, then 0.22 m more than drilled: they net", second.from_cm, second.to_cm,
                    run=second.run)  # fmt: skip


def _number_left_out(hole: HoleRows, *, tray: int) -> Expected:
    """The numbering jumps over one number; the depths go on without a break."""
    place, row = _tray(hole, tray)
    hole.trays[place:] = [replace(below, tray=below.tray + 1) for below in hole.trays[place:]]
    return Expected("T4", hole.site.hole_id, "tray.number_missing", "warn", "the numbers jump, the depths do not",
                    row.from_cm, row.from_cm, tray=tray)  # fmt: skip


def _lone_mark(hole: HoleRows) -> Expected:
    """One mark far from four that agree."""
    for place in range(4, len(hole.marks) - 4):
        mark = hole.marks[place]
        around = hole.marks[place - 3 : place + 4]
        if mark.depth_cm > 12_000 and all(other.joint != "broken" for other in around):
            hole.marks[place] = replace(mark, angle_deg=mark.angle_deg + 40, joint="uncertain")
            return Expected("O2", hole.site.hole_id, "orientation.mismatch", "warn",
                            "one mark 40 degrees from its neighbours", mark.depth_cm, mark.depth_cm)  # fmt: skip
    raise LookupError("no row of unbroken marks to plant a lone one in")


def _block_in_feet(hole: HoleRows) -> Expected:
    """One block carries feet: the run that ends at it and the run that starts at it both read so."""
    first, second = _sound_pair(hole, 5_000)
    feet_cm = round(first.to_cm / 0.3048 / 10) * 10
    hole.runs[first.run - 1] = replace(first, to_cm=feet_cm)
    hole.runs[second.run - 1] = replace(second, from_cm=feet_cm)
    return Expected("D3", hole.site.hole_id, "run.block_in_feet", "stop",
                    f"the block reads {feet_cm / 100:.2f}; {first.to_cm / 100:.2f} m is {feet_cm / 100:.1f} ft",
                    first.to_cm - 5, first.to_cm + 5, run=first.run)  # fmt: skip


def _rqd_too_long(hole: HoleRows) -> Expected:
    run, _ = _sound_pair(hole, 14_000)
    hole.runs[run.run - 1] = replace(run, recovered_cm=278, solid_cm=260, rqd_cm=298)
    return Expected("D6", hole.site.hole_id, "run.rqd_impossible", "stop", "RQD 2.98 m in 2.78 m of core",
                    run.from_cm, run.to_cm, run=run.run)  # fmt: skip


def _number_twice(hole: HoleRows, *, tray: int) -> Expected:
    """The tray below carries the same number; the numbering goes on from there."""
    place, row = _tray(hole, tray)
    hole.trays[place + 1 :] = [replace(below, tray=below.tray - 1) for below in hole.trays[place + 1 :]]
    return Expected("T1", hole.site.hole_id, "tray.doubled", "stop", "two trays carry one number",
                    row.from_cm, hole.trays[place + 1].to_cm, tray=tray)  # fmt: skip


def _run_overlap(hole: HoleRows) -> Expected:
    _, second = _sound_pair(hole, 10_500)
    start = second.from_cm - 20
    hole.runs[second.run - 1] = replace(second, from_cm=start)
    return Expected("D4", hole.site.hole_id, "run.overlap", "stop", "starts 0.20 m above the block before",
                    start, second.from_cm, run=second.run)  # fmt: skip


def _tray_gap(hole: HoleRows, *, tray: int) -> Expected:
    """The start on one tag is written half a metre too deep."""
    place, row = _tray(hole, tray)
    start = row.from_cm + 50
    ends = row.row_ends_cm if row.row_ends_cm and row.row_ends_cm[0] > start else ()
    hole.trays[place] = replace(row, from_cm=start, row_ends_cm=ends)
    return Expected("T3", hole.site.hole_id, "tray.gap", "stop", "0.50 m between two tags", row.from_cm, start,
                    tray=tray)  # fmt: skip


def _rock_overlap(hole: HoleRows) -> Expected:
    place = _soft_step(hole, 6_000)
    row = hole.rock[place]
    hole.rock[place] = replace(row, from_cm=row.from_cm - 15)
    return Expected("I1", hole.site.hole_id, "rock.overlap", "stop", "two intervals share 0.15 m",
                    row.from_cm - 15, row.from_cm)  # fmt: skip


def _beyond_core(hole: HoleRows) -> Expected:
    total = hole.site.total_cm
    hole.rock[-1] = replace(hole.rock[-1], to_cm=total + 90)
    return Expected("I4", hole.site.hole_id, "rock.beyond_core", "stop", "logged 0.90 m below the last block",
                    total, total + 90)  # fmt: skip


def _unplaced_loss(hole: HoleRows) -> list[Expected]:
    """Sound barren ground far from any sample, so that only the loss itself is odd."""
    for run in hole.runs:
        ground = {rock_at(hole.rock, depth).grade_class for depth in range(run.from_cm - 300, run.to_cm + 300, 10)}
        weak = any(row.weak and row.to_cm > run.from_cm and row.from_cm < run.to_cm for row in hole.rock)
        if run.from_cm > 3_000 and run.advance_cm == 300 and ground == {"barren"} and not weak:
            _measure(hole, run, 220)
            place = (hole.site.hole_id, run.from_cm, run.to_cm)
            return [
                Expected("D5", place[0], "loss.unplaced", "note", "0.80 m lost and no place for it", *place[1:],
                         run=run.run),
                Expected("D5", place[0], "run.low_recovery", "note", "2.20 m of 3.00 m", *place[1:], run=run.run),
            ]  # fmt: skip
    raise LookupError("no barren run to lose core from")


def _rock_gap(hole: HoleRows) -> Expected:
    """In barren ground that is not sampled, more than 3 m from any that is."""
    for row in hole.rock:
        middle = (row.from_cm + row.to_cm) // 2
        lost = any(row.from_cm <= run.to_cm and run.from_cm <= row.to_cm and run.advance_cm - run.recovered_cm > 50
                   for run in hole.runs)  # fmt: skip
        if row.rock in ("GWK", "SLT") and row.to_cm - row.from_cm > 640 and row.from_cm > 3_000 and not lost:
            place = hole.rock.index(row)
            hole.rock[place : place + 1] = [
                replace(row, to_cm=middle),
                replace(row, from_cm=middle + 40, contact="soft"),
            ]
            return Expected("I2", hole.site.hole_id, "rock.gap", "warn", "0.40 m without a log", middle, middle + 40)
    raise LookupError("no long barren interval to leave a gap in")


def _light_stick(hole: HoleRows) -> Expected:
    """Weighed in water with the basket touching the pail: the apparent mass is too low, the density a quarter too low."""
    place = next(k for k, stick in enumerate(hole.sticks) if stick.from_cm > 6_000 and stick.mass_dry_g is not None)
    stick = hole.sticks[place]
    dry_g, in_water_g = stick.mass_dry_g or 0.0, stick.mass_in_water_g or 0.0
    density = dry_g / (dry_g - in_water_g)
    hole.sticks[place] = replace(stick, mass_in_water_g=round(dry_g - dry_g / (0.75 * density), 1))
    return Expected("G1", hole.site.hole_id, "density.outside_rock", "warn",
                    f"{0.75 * density:.2f} t/m3 where {density:.2f} was true", stick.from_cm, stick.to_cm)  # fmt: skip


def _tray(hole: HoleRows, number: int) -> tuple[int, object]:
    place = next(k for k, tray in enumerate(hole.trays) if tray.tray == number)
    return place, hole.trays[place]


def _measure(hole: HoleRows, run: RunRow, recovered_cm: int) -> None:
    """Another recovered length for a run, its sound and solid length kept below it and below the advance."""
    limit = min(recovered_cm, run.advance_cm) - 2
    solid, sound = min(run.solid_cm or 0, limit), min(run.rqd_cm or 0, limit)
    hole.runs[run.run - 1] = replace(run, recovered_cm=recovered_cm, solid_cm=solid, rqd_cm=min(sound, solid))


def _sound_pair(hole: HoleRows, below_cm: int) -> tuple[RunRow, RunRow]:
    """The first two full runs below a depth without losses, in sound rock, with sound runs on both sides."""
    placed: list[LossRow] = hole.losses
    for index in range(1, len(hole.runs) - 2):
        four = hole.runs[index - 1 : index + 3]
        sound = all(run.advance_cm == 300 and -3 < run.advance_cm - run.recovered_cm < 5 for run in four)
        lost = any(four[0].from_cm - 300 <= loss.from_cm < four[-1].to_cm + 300 for loss in placed)
        if four[1].from_cm >= below_cm and sound and not lost:
            return four[1], four[2]
    raise LookupError(f"{hole.site.hole_id}: no four sound runs below {below_cm / 100:.0f} m")


def _soft_step(hole: HoleRows, below_cm: int) -> int:
    """The first interval below a depth with a soft top and enough length on both sides."""
    for place, (above, row) in enumerate(pairwise(hole.rock), start=1):
        long = min(above.to_cm - above.from_cm, row.to_cm - row.from_cm) > 100
        if row.from_cm >= below_cm and row.contact == "soft" and long:
            return place
    raise LookupError("no soft contact to overlap")
