"""Which ground of a hole is sampled: wanted ground and the barren shoulders beside it."""

from dataclasses import dataclass

import numpy as np

from trayside.core.interval_algebra import UM_PER_M, joined, pairs_um, whole_um, without
from trayside.errors import ImpossibleValue

EDGE, SHOULDER, UNSAMPLED, LIMIT = "edge of wanted ground", "shoulder", "unsampled ground", "cored limit"
WANTED, BETWEEN = "wanted", "between"


@dataclass(frozen=True, slots=True)
class SamplingStretches:
    """Stretches of continuous sampling, the parts they are made of, and what could not be given."""

    from_m: np.ndarray
    to_m: np.ndarray
    top_reason: np.ndarray
    bottom_reason: np.ndarray
    shortfall_top_m: np.ndarray
    shortfall_bottom_m: np.ndarray
    part_from_m: np.ndarray
    part_to_m: np.ndarray
    part_kind: np.ndarray
    part_stretch: np.ndarray
    refused_from_m: np.ndarray
    refused_to_m: np.ndarray
    refused_reason: np.ndarray

    @property
    def shoulder_from_m(self) -> np.ndarray:
        """Tops of the barren parts (shoulders and filled gaps)."""
        return self.part_from_m[self.part_kind != WANTED]

    @property
    def shoulder_to_m(self) -> np.ndarray:
        """Bottoms of the barren parts (shoulders and filled gaps)."""
        return self.part_to_m[self.part_kind != WANTED]


def sampling_stretches(
    *,
    interval_from_m,
    interval_to_m,
    wanted,
    shoulder_m: float,
    limit_from_m: float,
    limit_to_m: float,
    forbidden_from_m=(),
    forbidden_to_m=(),
    merge_gap_m: float = 0.0,
    step_m: float = 0.01,
) -> SamplingStretches:
    """Stretches to sample: wanted ground with a barren shoulder on each side.

    Wanted intervals that touch or overlap are one piece of ground. Each piece gets a shoulder above and below, its end
    rounded outward to the step so that a person can mark it. Stretches that touch, overlap, or leave a gap smaller
    than the merge gap become one, and the ground in the gap is sampled too. No stretch enters forbidden ground or
    leaves the cored limits, and none is merged across forbidden ground. What a shoulder lacks is reported, and so is
    wanted ground that had to be left out.

    Parameters
    ----------
    interval_from_m : array (n,) [m]
        Tops of the logged intervals, in any order; they may overlap.
    interval_to_m : array (n,) [m]
        Bottoms of the logged intervals.
    wanted : array (n,) of bool
        True where the interval is to be sampled.
    shoulder_m : float [m]
        Length of barren ground sampled on each side.
    limit_from_m : float [m]
        Top of the cored ground.
    limit_to_m : float [m]
        Bottom of the cored ground.
    forbidden_from_m : array (k,) [m]
        Tops of ground that is never sampled.
    forbidden_to_m : array (k,) [m]
        Bottoms of ground that is never sampled.
    merge_gap_m : float [m]
        Gaps shorter than this between two stretches are sampled too.
    step_m : float [m]
        Shoulder ends are rounded outward to a multiple of this.

    Returns
    -------
    SamplingStretches
        .from_m (s,) [m] and .to_m (s,) [m] the stretches from the top down; .top_reason (s,) and .bottom_reason (s,),
        each "shoulder" (given in full), "edge of wanted ground" (no shoulder asked for), "unsampled ground" or "cored
        limit"; .shortfall_top_m (s,) [m] and .shortfall_bottom_m (s,) [m] what a shoulder lacks, 0 when in full;
        .part_from_m (p,) [m], .part_to_m (p,) [m], .part_kind (p,) "wanted", "shoulder" or "between" (a filled gap),
        .part_stretch (p,) the stretch a part belongs to; .shoulder_from_m and .shoulder_to_m [m] the barren parts only;
        .refused_from_m (r,) [m], .refused_to_m (r,) [m], .refused_reason (r,) wanted ground that was left out.

    Raises
    ------
    ImpossibleValue
        When a depth is negative or not finite, an interval has no length, the lists differ in length, the cored limits
        are the wrong way round, or the step is zero.

    Valid for: 0 to 20 000 m.
    Source: site rule; the lengths are settings (common practice, no source).
    Checked by: tests/unit/core/test_stretches.py
    """
    logged = _logged_um(interval_from_m, interval_to_m, wanted)
    shoulder, merge_gap, step, low, high = (
        int(whole_um(depth_m=value, name=name)[0])
        for value, name in (
            (shoulder_m, "shoulder_m"),
            (merge_gap_m, "merge_gap_m"),
            (step_m, "step_m"),
            (limit_from_m, "limit_from_m"),
            (limit_to_m, "limit_to_m"),
        )
    )
    if low >= high:
        raise ImpossibleValue(
            f"the cored ground runs from {limit_from_m:g} m to {limit_to_m:g} m",
            where="sampling stretches",
            remedy="Its bottom must be below its top",
        )
    if step == 0:
        raise ImpossibleValue("step_m is zero", where="sampling stretches", remedy="Give a step such as 0.01 m")
    forbidden = joined(pairs=pairs_um(from_m=forbidden_from_m, to_m=forbidden_to_m, name="unsampled ground"))
    cored = np.array([[low, high]], dtype=np.int64)
    free = without(pairs=cored, holes=forbidden)
    zones = without(pairs=logged, holes=without(pairs=np.array([[0, 2**62]]), holes=free))

    stretches, parts = [], []
    for free_from, free_to in free.tolist():
        inside = zones[(zones[:, 0] >= free_from) & (zones[:, 1] <= free_to)].tolist()
        for group in _groups(inside, shoulder=shoulder, merge_gap=merge_gap, step=step):
            top, bottom = group[0][0], group[-1][1]
            top_end = max(free_from, _shoulder_top(group[0], shoulder, step))
            bottom_end = min(free_to, _shoulder_bottom(group[-1], shoulder, step))
            short_top, short_bottom = (max(0, shoulder - given) for given in (top - top_end, bottom_end - bottom))
            stretches.append(
                (
                    top_end,
                    bottom_end,
                    _reason(shoulder, short_top, free_from == low),
                    _reason(shoulder, short_bottom, free_to == high),
                    short_top,
                    short_bottom,
                )
            )
            parts += _parts(len(stretches) - 1, group, top_end, bottom_end, shoulder=shoulder, step=step)
    beyond = without(pairs=logged, holes=cored)
    hidden = without(pairs=without(pairs=logged, holes=np.array([[0, low], [high, 2**62]])), holes=free)
    refused = np.concatenate([beyond, hidden])
    order = np.argsort(refused[:, 0])
    refused, outside = refused[order], (np.arange(len(refused)) < len(beyond))[order]
    columns = list(zip(*stretches, strict=True)) or [()] * 6
    part_columns = list(zip(*parts, strict=True)) or [()] * 4
    return SamplingStretches(
        from_m=_metres(columns[0]),
        to_m=_metres(columns[1]),
        top_reason=np.array(columns[2], dtype="U24"),
        bottom_reason=np.array(columns[3], dtype="U24"),
        shortfall_top_m=_metres(columns[4]),
        shortfall_bottom_m=_metres(columns[5]),
        part_from_m=_metres(part_columns[1]),
        part_to_m=_metres(part_columns[2]),
        part_kind=np.array(part_columns[3], dtype="U8"),
        part_stretch=np.array(part_columns[0], dtype=np.int64),
        refused_from_m=_metres(refused[:, 0]),
        refused_to_m=_metres(refused[:, 1]),
        refused_reason=np.where(outside, LIMIT, UNSAMPLED).astype("U24"),
    )


def _logged_um(from_m, to_m, wanted) -> np.ndarray:
    """Wanted ground as separate pieces."""
    chosen = np.atleast_1d(np.asarray(wanted, dtype=bool))
    tops, bottoms = np.atleast_1d(np.asarray(from_m, float)), np.atleast_1d(np.asarray(to_m, float))
    pairs_um(from_m=tops, to_m=bottoms, name="logged interval")
    if len(chosen) != len(tops):
        raise ImpossibleValue(
            f"{len(tops)} logged intervals and {len(chosen)} wanted marks",
            where="sampling stretches",
            remedy="Give one mark per interval",
        )
    return joined(pairs=pairs_um(from_m=tops[chosen], to_m=bottoms[chosen], name="logged interval"))


def _up(depth_um: int, step_um: int) -> int:
    """The step at or above a depth."""
    return depth_um // step_um * step_um


def _down(depth_um: int, step_um: int) -> int:
    """The step at or below a depth."""
    return -(-depth_um // step_um) * step_um


def _groups(zones: list, *, shoulder: int, merge_gap: int, step: int) -> list[list]:
    """Zones of one piece of free ground, grouped when their shoulders meet or leave a small gap."""
    groups: list[list] = []
    for zone in zones:
        if groups:
            gap = _shoulder_top(zone, shoulder, step) - _shoulder_bottom(groups[-1][-1], shoulder, step)
            if gap <= 0 or gap < merge_gap:
                groups[-1].append(zone)
                continue
        groups.append([zone])
    return groups


def _shoulder_top(zone, shoulder: int, step: int) -> int:
    return _up(zone[0] - shoulder, step) if shoulder else zone[0]


def _shoulder_bottom(zone, shoulder: int, step: int) -> int:
    return _down(zone[1] + shoulder, step) if shoulder else zone[1]


def _reason(shoulder: int, shortfall: int, at_limit: bool) -> str:
    if shortfall:
        return LIMIT if at_limit else UNSAMPLED
    return SHOULDER if shoulder else EDGE


def _parts(stretch: int, group: list, top_end: int, bottom_end: int, *, shoulder: int, step: int) -> list[tuple]:
    """The stretch from the top down as wanted ground, shoulders and filled gaps."""
    parts = [(stretch, top_end, group[0][0], SHOULDER)]
    for zone, following in zip(group, [*group[1:], None], strict=True):
        parts.append((stretch, zone[0], zone[1], WANTED))
        if following is None:
            parts.append((stretch, zone[1], bottom_end, SHOULDER))
            continue
        end, start = _shoulder_bottom(zone, shoulder, step), _shoulder_top(following, shoulder, step)
        if start > end:
            parts += [
                (stretch, zone[1], end, SHOULDER),
                (stretch, end, start, BETWEEN),
                (stretch, start, following[0], SHOULDER),
            ]
        else:
            parts.append((stretch, zone[1], following[0], SHOULDER))
    return [part for part in parts if part[2] > part[1]]


def _metres(values_um) -> np.ndarray:
    return np.asarray(values_um, dtype=np.int64) / UM_PER_M
