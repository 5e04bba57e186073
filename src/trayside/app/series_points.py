"""Where each result of a series stands, for charts that open the sample's story."""

from __future__ import annotations

import polars as pl

from trayside.model.result_series import Points


def points_of(
    frame: pl.DataFrame,
    *,
    number: str = "number",
    text: str = "raw_text",
    certificate: str = "certificate_id",
    place: str = "place",
    jobs: dict[str, str] | None = None,
) -> Points:
    """Points of a frame of results, in its order; `jobs` names the laboratory's job of each certificate."""
    certificates = tuple(frame[certificate].to_list())
    names = jobs or {}
    return Points(
        number=tuple(frame[number].to_list()),
        certificate_id=certificates,
        job=tuple(names.get(one, "") for one in certificates),
        laboratory=tuple(frame["laboratory"].to_list()),
        reported_at=tuple(frame["reported_at"].to_list()),
        place=frame[place].to_numpy(),
        raw_text=tuple(frame[text].to_list()),
    )
