"""Widths against the font itself, and lines that break without losing a letter."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from scheduler.layout.drawing.paper.lettering import _WIDTHS, clean, is_known, width_of, wrap
from tests.drawn import font, width

TEXTS = st.text(st.characters(codec="utf-8"), max_size=120)


def test_every_width_is_that_of_the_font() -> None:
    for bold in (False, True):
        characters, advances, _ = font(bold)
        assert len(_WIDTHS[bold]) > 120
        for char, em in _WIDTHS[bold].items():
            assert em * 2048 == advances[characters[ord(char)]][0], char


@given(st.text("AÅÉÎõüçŠžĄ ÁÀéèñ", min_size=1, max_size=30), st.booleans())
def test_accented_letters_are_as_wide_as_in_the_font(text: str, bold: bool) -> None:
    assert is_known(text)
    assert abs(width_of(text, 3.0, bold) - width(text, 3.0, bold)) < 1e-9


@given(TEXTS, st.floats(8, 80), st.booleans(), st.floats(0, 7))
def test_lines_are_no_wider_than_allowed_and_lose_nothing(text: str, wide: float, bold: bool, indent: float) -> None:
    lines = wrap(text, 2.8, wide, bold, indent)
    assert "".join("".join(lines).split()) == "".join(text.split())
    for k, line in enumerate(lines):
        assert len(line) == 1 or width_of(line, 2.8, bold) + indent * (k == 0) <= wide + 1e-9


@given(TEXTS)
def test_cleaned_text_may_stand_in_xml(text: str) -> None:
    cleaned = clean(text)
    assert clean(cleaned) == cleaned
    assert all(
        ord(char) >= 0x20 and not 0xD800 <= ord(char) <= 0xDFFF and char not in "\ufffe\uffff" for char in cleaned
    )
