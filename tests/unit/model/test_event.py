"""What a device may send: each fault is refused with what, where and what to do."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.errors import ImpossibleValue, RefusedByRule, TraysideError
from trayside.model.event import (
    FIELDS,
    check_correction,
    checked_event,
    event_fields,
    moment,
    moment_text,
    tray_object,
)
from trayside.model.event_kinds import BY_NAME, KINDS, OBJECT_TYPES, VALUE_NAMES

ID = "0190f7c2-1234-7abc-8def-0123456789ab"
OTHER = "0190f7c2-1234-7abc-9def-0123456789ac"


def raw(kind: str = "bagged", **more) -> dict:
    values = {"bagged": {"tag": "A1"}, "weighed": {"mass_g": 2315, "read": "scale"}}.get(kind, {})
    fields = {
        "event_id": ID,
        "kind": kind,
        "object_type": "bag",
        "object_id": "A1",
        "hole_id": "K-1",
        "tray": 3,
        "sheet_id": "sheet-1",
        "revision": 2,
        "person": "Ada Núñez",
        "device": "tablet 1",
        "captured_at": "2031-05-04T07:30:15.123Z",
        "utc_offset_min": -240,
        "software": "trayside 0.1.0",
        "values": values,
        "reason": None,
        "corrects": None,
    }
    return fields | more


SAMPLES = {
    "text": "words",
    "code": "A-1",
    "codes": ["A1", "A2"],
    "texts": ["metre mark"],
    "yes_no": True,
    "sha256": "0f" * 32,
}


def good_value(value):
    if value.kind == "whole":
        return value.high if value.name != "from_mm" else value.low
    return value.choices[0] if value.kind == "choice" else SAMPLES[value.kind]


def good_event(kind, object_type: str) -> dict:
    names = {"tray": {"object_id": "K-1/3"}, "hole": {"object_id": "K-1"}}.get(object_type, {})
    return raw(
        kind.name,
        object_type=object_type,
        values={value.name: good_value(value) for value in kind.values},
        reason="looked again" if kind.needs_reason else None,
        corrects=OTHER if kind.name == "corrected" else None,
        **names,
    )


ALL_KINDS = [(kind, object_type) for kind in KINDS for object_type in kind.object_types]


@pytest.mark.parametrize(("kind", "object_type"), ALL_KINDS, ids=lambda part: getattr(part, "name", part))
def test_every_kind_takes_its_values_on_every_object_it_is_about(kind, object_type):
    given = good_event(kind, object_type)
    event = checked_event(given)
    assert event_fields(event) == given
    assert checked_event(event_fields(event)) == event


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_kind_refuses_what_is_not_its_own(kind):
    given = good_event(kind, kind.object_types[0])
    for required in (value.name for value in kind.values if value.required):
        without = {name: value for name, value in given["values"].items() if name != required}
        with pytest.raises(ImpossibleValue, match=f"values.{required}: {kind.name} needs it"):
            checked_event(given | {"values": without})
    with pytest.raises(ImpossibleValue, match="has no such value"):
        checked_event(given | {"values": given["values"] | {"colour": "red"}})
    for object_type in set(OBJECT_TYPES) - set(kind.object_types):
        with pytest.raises(ImpossibleValue, match="is not about"):
            checked_event(given | {"object_type": object_type})
    if kind.needs_reason:
        for nothing in (None, "", "  "):
            with pytest.raises(ImpossibleValue, match="reason"):
                checked_event(given | {"reason": nothing})


REFUSED = {
    "event_id": [None, "", 7, "not an id", ID.upper(), ID.replace("-7", "-4"), ID + "\n", f" {ID}"],
    "kind": [None, "", "BAGGED", "baked", 3, ["bagged"]],
    "object_type": [None, "", "box", "tray"],
    "object_id": [None, "", " A1", "A1 ", "A1\n", 'A"1', "A\\1", "É1", "A" * 81, "-A1", 12],
    "hole_id": ["", "K-1\t", 'K"', 5],
    "sheet_id": ["", "x y\n", 5, None],  # None: a revision without its sheet
    "tray": ["3", 3.0, True, -1, 10**9],
    "revision": ["2", 0, -1, 2.0, False],
    "person": [None, "", "   ", "Ada\nBob", "A" * 81, 5, "Ada\u202e", "\ud800"],
    "device": [None, "", "tab\x00let"],
    "software": [None, "", "x" * 81],
    "captured_at": [
        None,
        "",
        "2031-05-04",
        "2031-05-04T07:30:15Z",
        "2031-05-04T07:30:15.123",
        "2031-05-04T07:30:15.123+00:00",
        "2031-02-30T07:30:15.123Z",
        "2031-05-04T25:30:15.123Z",
        1_935_000_000,
    ],
    "utc_offset_min": [None, "-240", 1.5, True, 900, -900],
    "values": [[], "tag", 5],
    "reason": ["", "two\nlines", "x" * 501, 5],
    "corrects": [OTHER, "", 5],
    "colour": ["red"],
}


@pytest.mark.parametrize(("name", "value"), [(name, value) for name, values in REFUSED.items() for value in values])
def test_a_field_that_cannot_be_is_refused_and_named(name, value):
    with pytest.raises(ImpossibleValue) as refused:
        checked_event(raw() | {name: value})
    where = {"revision": ("revision", "sheet_id"), "sheet_id": ("sheet_id",)}.get(name, (name, "reason", "object_type"))
    assert refused.value.where.split(", ")[-1] in where
    assert refused.value.what
    assert refused.value.remedy
    str(refused.value).encode()


@pytest.mark.parametrize("name", [name for name in FIELDS if name in raw() and name not in ("values",)])
def test_only_what_may_be_missing_may_be_missing(name):
    without = raw()
    del without[name]
    if name in ("hole_id", "revision", "reason", "corrects", "tray", "sheet_id"):
        given = without | ({"revision": None} if name == "sheet_id" else {"tray": None} if name == "hole_id" else {})
        assert getattr(checked_event(given), name) is None
    else:
        with pytest.raises(ImpossibleValue, match="missing"):
            checked_event(without)


@pytest.mark.parametrize(
    ("value", "what"),
    [
        ("2.3", "not a whole number"),
        (2315.0, "not a whole number"),
        (2.3, "not a whole number"),
        (True, "not a whole number"),
        (None, "not a whole number"),
        (0, "not between"),
        (-5, "not between"),
        (2_000_001, "not between"),
        (10**400, "not between"),
        ([2315], "not a whole number"),
    ],
)
def test_a_mass_is_whole_grams_within_what_a_scale_can_show(value, what):
    with pytest.raises(ImpossibleValue, match=what):
        checked_event(raw("weighed", values={"mass_g": value, "read": "scale"}))


def test_values_of_each_kind_are_held_to_their_type():
    received = {"by": "desk", "missing": ["A1", "A2"], "seals_intact": False}
    assert checked_event(raw("received", values=received)).values == received
    for wrong in ({"missing": "A1"}, {"missing": ["A 1\n"]}, {"missing": ["A1"] * 501}, {"seals_intact": 1}):
        with pytest.raises(ImpossibleValue, match=next(iter(wrong))):
            checked_event(raw("received", values=received | wrong))
    photo = {"sha256": "0f" * 32, "file": "../../etc/passwd <script>", "view": "bag"}
    assert checked_event(raw("photo_attached", values=photo)).values == photo, "text is kept as it was written"
    for wrong in ({"sha256": "0F" * 32}, {"sha256": "0f"}, {"view": "selfie"}):
        with pytest.raises(ImpossibleValue, match=next(iter(wrong))):
            checked_event(raw("photo_attached", values=photo | wrong))


def test_a_value_that_may_be_left_out_may_be_nothing():
    assert checked_event(raw(values={"tag": "A1", "side": None})).values == {"tag": "A1", "side": None}
    assert checked_event(raw("voided", reason="torn", values=None)).values == {}


def test_a_tray_is_named_by_hole_and_number():
    good = {"object_type": "tray", "object_id": tray_object("K-1", 3), "values": {}}
    assert checked_event(raw("staged", **good)).object_id == "K-1/3"
    for wrong in ({"tray": 4}, {"hole_id": "K-2"}, {"object_id": "3"}, {"tray": None}, {"hole_id": None}):
        with pytest.raises(ImpossibleValue):
            checked_event(raw("staged", **good | wrong))


def test_a_piece_has_its_bottom_below_its_top():
    piece = {"from_mm": 1000, "to_mm": 2000, "taken": "quarter", "left": "quarter", "asked_by": "Eve"}
    where = {"object_type": "hole", "object_id": "K-1"}
    assert checked_event(raw("piece_taken", values=piece, **where)).values["to_mm"] == 2000
    with pytest.raises(ImpossibleValue, match="below"):
        checked_event(raw("piece_taken", values=piece | {"to_mm": 1000}, **where))


@pytest.mark.parametrize("given", [None, 5, "event", [], [raw()]])
def test_what_is_no_object_is_refused(given):
    with pytest.raises(ImpossibleValue, match="not an event"):
        checked_event(given)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@given(changes=st.dictionaries(st.sampled_from([*FIELDS, "other"]), JSON, max_size=3), inside=st.booleans())
def test_whatever_comes_it_is_an_event_or_an_error_in_words(changes, inside):
    sent = raw() | {"values": {"tag": "A1"} | changes} if inside else raw() | changes
    refused = None
    try:
        event = checked_event(sent)
    except TraysideError as error:
        refused = error
    if refused is None:
        assert checked_event(event_fields(event)) == event
    else:
        assert refused.what
        assert refused.remedy


def correction(verdict: str = "restated", **more):
    values = {"verdict": verdict, **more.pop("values", {})}
    fields = raw("corrected", event_id=OTHER, values=values, reason="typed wrong", corrects=ID)
    return checked_event(fields | more)


def test_a_correction_fits_the_event_it_corrects():
    weighed = checked_event(raw("weighed"))
    check_correction(correction(values={"mass_g": 2135}), weighed)
    check_correction(correction("set_aside"), weighed)
    check_correction(correction("stands"), weighed)


@pytest.mark.parametrize(
    "wrong",
    [
        correction(values={"mass_g": 0}),
        correction(values={"mass_g": "2135"}),
        correction(values={"mass_g": None}),
        correction(values={"tag": "A1"}),
        correction(),
        correction("stands", values={"mass_g": 2135}),
        correction("set_aside", values={"mass_g": 2135}),
        correction(values={"mass_g": 2135}, object_id="A2"),
    ],
)
def test_a_correction_that_does_not_fit_is_refused(wrong):
    with pytest.raises((ImpossibleValue, RefusedByRule)):
        check_correction(wrong, checked_event(raw("weighed")))


def test_a_correction_is_not_corrected_itself():
    with pytest.raises(RefusedByRule, match="not corrected itself"):
        check_correction(correction("stands"), correction("stands"))


def test_moments_are_utc_with_milliseconds_cut_off():
    local = datetime(2031, 5, 4, 3, 30, 15, 999_999, tzinfo=timezone(timedelta(hours=-4)))
    assert moment_text(local) == "2031-05-04T07:30:15.999Z"
    assert moment("2031-05-04T07:30:15.999Z") == datetime(2031, 5, 4, 7, 30, 15, 999_000, tzinfo=UTC)
    with pytest.raises(ImpossibleValue, match="without a zone"):
        moment_text(datetime(2031, 5, 4))


def test_no_value_has_the_name_of_a_field_of_the_record():
    """The ledger is searched by fields; a value of the same name could be taken for one."""
    record = {*FIELDS, "seq", "stored_at", "standing", "why", "against"}
    assert not VALUE_NAMES & record
    assert len(BY_NAME) == len(KINDS)
    assert all(len({value.name for value in kind.values}) == len(kind.values) for kind in KINDS)
