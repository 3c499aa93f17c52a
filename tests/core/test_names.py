"""Names of people: one person however written, two that only look alike pointed out."""

from __future__ import annotations

import ctypes
import ctypes.util
import unicodedata

import pytest

from calib_model.core.names import (
    _PASSES_FOR,
    look_alike_hints,
    looks_like,
    same_person,
    same_person_hint,
)

CYRILLIC_ADA = "\u0410d\u0430 Berg"


@pytest.mark.parametrize(
    "other",
    [
        "ada  berg ", "\uff21da Berg", "A\u200bda Berg", "Ada\u00ad Berg", "\u202eAda Berg",
        "Ada\ufe0f Berg", "Ada\u3164 Berg", "Ada\u034f Berg",
    ],
)  # fmt: skip
def test_what_does_not_show_makes_no_other_person(other: str) -> None:
    assert same_person("Ada Berg", other)
    assert not looks_like("Ada Berg", other)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("Ada Berg", CYRILLIC_ADA),
        ("ADA BERG", CYRILLIC_ADA),
        ("Ida", "lda"),
        ("Bern", "Bem"),
        ("Otto", "0tto"),
        ("Åda", "Åd\u0430"),
        ("Nora", "\u039d\u03bfra"),
    ],
)
def test_look_alikes_are_pointed_out(first: str, second: str) -> None:
    assert looks_like(first, second)
    assert looks_like(second, first)
    assert not same_person(first, second)
    assert "two people" in same_person_hint(first, second)


@pytest.mark.parametrize(
    ("first", "second"), [("Ada Berg", "Ada Borg"), ("Ines", "Ida"), ("Ada", "Åda"), ("A", "A")]
)
def test_names_that_differ_to_the_eye_get_no_hint(first: str, second: str) -> None:
    assert not looks_like(first, second)
    assert same_person_hint(first, second) == ""


def test_a_hint_says_which_letters_are_not_what_they_seem() -> None:
    (hint,) = look_alike_hints(["Ines", "Ada Berg", CYRILLIC_ADA, "Ada Berg", "ines"])
    assert "U+0410, U+0430" in hint


def _icu() -> tuple[ctypes.CDLL, str]:
    # ICU's functions carry its version in their names.
    for version in range(80, 59, -1):
        name = ctypes.util.find_library("icui18n") or ""
        try:
            library = ctypes.CDLL(f"libicui18n.so.{version}" if name else "")
            getattr(library, f"uspoof_open_{version}")
        except (OSError, AttributeError):
            continue
        return library, f"_{version}"
    pytest.skip("ICU is not installed")


def test_the_pairs_are_those_of_unicodes_security_mechanisms() -> None:
    # Outside check: ICU's skeletons (UTS #39), where the system has ICU.
    library, version = _icu()
    error = ctypes.c_int(0)
    open_checker = getattr(library, f"uspoof_open{version}")
    open_checker.restype = ctypes.c_void_p
    checker = ctypes.c_void_p(open_checker(ctypes.byref(error)))

    def skeleton(text: str) -> str:
        out, data = ctypes.create_string_buffer(64), text.encode()
        skeleton_of = getattr(library, f"uspoof_getSkeletonUTF8{version}")
        size = skeleton_of(checker, 0, data, len(data), out, 64, ctypes.byref(error))
        return out.raw[:size].decode()

    try:
        for latin, signs in _PASSES_FOR.items():
            for sign in signs:
                assert skeleton(sign) == skeleton(latin), (latin, sign)
        # The other way round: no letter of the two great scripts beside Latin is forgotten.
        for sign in map(chr, range(0x370, 0x530)):
            if unicodedata.category(sign) not in ("Lu", "Ll"):
                continue
            seen = skeleton(sign)
            if len(seen) == 1 and seen.isascii() and seen.isalpha():
                assert looks_like(seen, sign) or same_person(
                    seen, unicodedata.normalize("NFKC", sign)
                ), sign
    finally:
        getattr(library, f"uspoof_close{version}")(checker)
