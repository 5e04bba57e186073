"""Names that a tired eye or a muddy tag turns into each other."""

from collections import defaultdict
from dataclasses import dataclass
from itertools import combinations

LOOK_ALIKE_CLASSES = ("O0", "I1l", "S5", "B8", "Z2", "G6")
"""Characters written or printed alike. Common practice, no source."""

_SEPARATORS = "-_./ "
_FOLD = {c: group[-1] if group != "I1l" else "1" for group in LOOK_ALIKE_CLASSES for c in group}


@dataclass(frozen=True, slots=True)
class LookAlike:
    """Two names that are easily confused, and how."""

    first: str
    second: str
    kind: str  # "capitals", "look-alike characters", "separators", "neighbours exchanged"
    why: str


def look_alikes(*, names: tuple[str, ...]) -> tuple[LookAlike, ...]:
    """Pairs of names that are easily taken for each other.

    Three tests: equal but for capitals, separators, or characters of one look-alike class (O 0, I 1 l, S 5, B 8, Z 2,
    G 6); equal after two neighbouring characters are exchanged. A pair is named once, with the first test that finds
    it. Running numbers such as 12 and 21 are found by the last test too; the kind lets a caller weigh them.

    Parameters
    ----------
    names : tuple of str
        Hole names, prefixes or ticket numbers; the same name twice counts once.

    Returns
    -------
    tuple of LookAlike
        Pairs in the order of the names, with the reason in words.

    Raises
    ------
    ImpossibleValue
        Never: any text is a name.

    Valid for: any length; the work grows with the number of characters, and with the pairs found.
    Source: derived; the classes: common practice, no source.
    Checked by: tests/unit/core/test_look_alikes.py
    """
    unique = list(dict.fromkeys(names))
    place = {name: k for k, name in enumerate(unique)}
    found: dict[tuple[int, int], LookAlike] = {}
    folded: dict[str, list[str]] = defaultdict(list)
    bare: dict[str, list[str]] = defaultdict(list)
    for name in unique:
        folded[_folded(name)].append(name)
        bare["".join(c for c in _folded(name) if c not in _SEPARATORS)].append(name)

    def note(one: str, other: str, kind: str, why: str) -> None:
        pair = (min(place[one], place[other]), max(place[one], place[other]))
        if pair[0] != pair[1]:
            found.setdefault(pair, LookAlike(unique[pair[0]], unique[pair[1]], kind, why))

    for group in folded.values():
        for one, other in combinations(group, 2):
            if one.upper() == other.upper():
                note(one, other, "capitals", "they differ only in capitals")
            else:
                unlike = [(a, b) for a, b in zip(one, other, strict=True) if a.upper() != b.upper()]
                apart = ", ".join(f"{a} and {b}" for a, b in unlike)
                note(one, other, "look-alike characters", f"they differ only in {apart}")
    for group in bare.values():
        for one, other in combinations(group, 2):
            note(
                one,
                other,
                "separators",
                "they differ only in dashes, dots or blanks, perhaps with look-alike characters",
            )
    for key, group in folded.items():
        for k in range(len(key) - 1):
            if key[k] == key[k + 1]:
                continue
            for other in folded.get(key[:k] + key[k + 1] + key[k] + key[k + 2 :], ()):
                for one in group:
                    note(one, other, "neighbours exchanged", f"characters {k + 1} and {k + 2} are exchanged")
    return tuple(found[pair] for pair in sorted(found))


def _fold(character: str) -> str:
    return _FOLD.get(character) or _FOLD.get(character.upper(), character.upper())


def _folded(name: str) -> str:
    return "".join(_fold(character) for character in name)
