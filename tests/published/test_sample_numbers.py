"""Check characters against published examples, and the capacity of the smallest QR code."""

import pytest
import segno

from trayside.core.sample_numbers import check_number, fits_small_qr, format_number

# (scheme, digits or characters, check character, where published, grade)
VECTORS = [
    ("iso7064_mod11_10", "79462", "3", "python-stdnum 2.2, module iso7064.mod_11_10, doctest", "seen"),
    ("iso7064_mod11_10", "00200667308", "5", "python-stdnum 2.2, module iso7064.mod_11_10, doctest", "seen"),
    ("iso7064_mod37_36", "A12425GABC1234002", "M", "python-stdnum 2.2, module iso7064.mod_37_36, doctest", "seen"),
    ("damm", "572", "4", "python-stdnum 2.2, module damm, doctest", "seen"),
    ("iso7064_mod11_2", "000000021825009", "7", "ORCID support page, example 0000-0002-1825-0097", "from memory"),
]


@pytest.mark.parametrize(("scheme", "body", "check", "document", "grade"), VECTORS)
def test_check_characters_agree_with_published_examples(scheme, body, check, document, grade):
    prefix = body.rstrip("0123456789")
    digits = body[len(prefix) :]
    made = format_number(prefix=prefix, serial=int(digits), width=len(digits), check_scheme=scheme)
    assert made == body + check, f"{document} ({grade})"
    assert check_number(text=body + check, check_scheme=scheme).ok
    for other in "0123456789":
        if other != check:
            assert not check_number(text=body + other, check_scheme=scheme).ok


@pytest.mark.parametrize(("serial", "check"), [(1, "3"), (5, "9"), (9, "2"), (12, "5"), (13, "0"), (18, "2")])
def test_damm_follows_its_table(serial, check):
    """Quasigroup of order ten (H. M. Damm, doctoral thesis, Marburg 2004), read off by hand; from memory.

    Row 0 is 0 3 1 7 5 9 8 6 4 2 and row 3 is 1 7 5 0 9 8 3 4 2 6: digit 1 leads to 3, digits 1 2 to row 3 column 2 = 5.
    """
    assert format_number(prefix="", serial=serial, width=len(str(serial)), check_scheme="damm")[-1] == check


def test_ten_capitals_make_the_smallest_qr_code_at_the_highest_level():
    """ISO/IEC 18004, version 1-H: 10 alphanumeric or 7 byte characters; capacity as segno 1.6.6 gives it (seen)."""
    assert fits_small_qr(text="VR-0012345").ok
    assert segno.make_qr("VR-0012345", error="h", boost_error=False).version == 1
    assert not fits_small_qr(text="VR-00123456").ok
    assert segno.make_qr("VR-00123456", error="h", boost_error=False).version == 2
    assert not fits_small_qr(text="vr-0012345").ok
    assert segno.make_qr("vr-0012345", error="h", boost_error=False).version == 2
