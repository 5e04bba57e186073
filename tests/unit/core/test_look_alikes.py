"""Names that are easily confused."""

import numpy as np
import pytest

from trayside.core.look_alikes import look_alikes


def kinds(*names):
    return [(pair.first, pair.second, pair.kind) for pair in look_alikes(names=names)]


@pytest.mark.parametrize(
    ("one", "other"),
    [("VRO1", "VR01"), ("VR1", "VRI"), ("VR1", "VRl"), ("S1", "51"), ("B2", "82"), ("Z4", "24"), ("G9", "69")],
)
def test_look_alike_characters_are_found(one, other):
    assert kinds(one, other) == [(one, other, "look-alike characters")]


def test_several_look_alike_characters_at_once_are_found_and_named():
    (pair,) = look_alikes(names=("SOB", "508"))
    assert pair.why == "they differ only in S and 5, O and 0, B and 8"


def test_neighbours_exchanged_are_found():
    assert kinds("VR-012", "VR-021") == [("VR-012", "VR-021", "neighbours exchanged")]
    assert "characters 5 and 6" in look_alikes(names=("VR-012", "VR-021"))[0].why


def test_capitals_and_separators_are_found():
    assert kinds("vr-01", "VR-01") == [("vr-01", "VR-01", "capitals")]
    assert kinds("VR-01", "VR01") == [("VR-01", "VR01", "separators")]


def test_unlike_names_are_left_alone():
    assert kinds("VR-01", "VR-02", "KT-01", "VR-0", "VR-13") == []
    assert kinds("VR-11", "VR-11") == []
    assert kinds() == []


def test_a_pair_is_named_once_in_the_order_given():
    assert kinds("B8", "8B", "BB") == [
        ("B8", "8B", "look-alike characters"),
        ("B8", "BB", "look-alike characters"),
        ("8B", "BB", "look-alike characters"),
    ]


@pytest.mark.parametrize("seed", range(5))
def test_it_agrees_with_comparing_every_pair(seed):
    alphabet = "O0I1S5A-"
    rng = np.random.default_rng(seed)
    names = tuple(dict.fromkeys("".join(rng.choice(list(alphabet), 3)) for _ in range(60)))
    fold = str.maketrans("OIS", "015")

    def confused(a, b):
        a, b = a.translate(fold), b.translate(fold)
        swapped = any(a[:k] + a[k + 1] + a[k] + a[k + 2 :] == b for k in range(len(a) - 1))
        return a == b or a.replace("-", "") == b.replace("-", "") or swapped

    expected = {(a, b) for i, a in enumerate(names) for b in names[i + 1 :] if confused(a, b)}
    assert {(pair.first, pair.second) for pair in look_alikes(names=names)} == expected
