"""Three hundred random walls of all kinds, in both forms of survey, as a checker with a ruler would look at them."""

from __future__ import annotations

import datetime
import random
import re

import pytest
from msgspec.structs import replace

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import MASONRY, Layout, Survey
from scheduler.layout.drawing import draw_sheets
from scheduler.layout.drawing.cautions import MOST_ON_SHEET, sort_out
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.title import Title
from scheduler.layout.site.shade import ShadeSite
from tests.drawn import written
from tests.seeds import some_now
from tests.surveys import KINDS, random_second, random_survey
from tests.unit.layout.test_drawing import assert_clean

pytestmark = pytest.mark.slow

TITLE = Title("J-1048", "Betony Sallowfield", "63 Long Meadow, Tallow Bend", datetime.date(2027, 4, 12))
SITE = ShadeSite(41.42, -98.27, "America/Chicago", 2027)
# Spellings of other countries than the one whose installers read the sheet.
_ABROAD = re.compile(r"\b\w*(?:centr(?:e|ed|ing)|galvanis|aluminium|colour|metres?|grey|labour|neighbour)\w*\b")


def said(texts: list[str]) -> str:
    return re.sub(r"\s+", " ", " ".join(texts))


def plain(text: str) -> str:
    """A finding's text as the sheet has it, without what line breaks do to it."""
    return re.sub(r"\s+", "", text)


def walls(kind: str, batch: int) -> list[Survey]:
    made = random_survey if batch % 4 == 3 else random_second
    return [made(random.Random(f"{kind} {batch} {n}"), kind=kind) for n in range(9)]  # type: ignore[arg-type]


@pytest.mark.parametrize("batch", some_now(range(4), 1))
@pytest.mark.parametrize("kind", KINDS)
def test_nothing_overlaps_no_number_is_missing_and_every_pointer_has_its_target(kind: str, batch: int) -> None:
    for n, survey in enumerate(walls(kind, batch)):
        layout = lay_out(survey)
        units = ("imperial", "metric")[n % 2]
        sheets = draw_sheets(survey, layout, units=units, job=TITLE, site=SITE)  # type: ignore[arg-type]
        try:
            pages = [said([text.text for text in assert_clean(sheet)]) for sheet in sheets]
            _numbers(survey, layout, pages)
            _pointers(layout, pages, units)
            _counts(pages)
            _letters(sheets[0], pages[0])
            _doors(survey, pages)
            _outlet_is_named(sheets[0], pages[0])
        except AssertionError as fault:
            raise AssertionError(f"{kind}, batch {batch}, wall {n}: {fault}") from None


def _numbers(survey: Survey, layout: Layout, pages: list[str]) -> None:
    first = pages[0]
    for whose in (TITLE.job, TITLE.customer, TITLE.address, "drawn 2027-04-12"):
        assert all(whose in page for page in pages), whose
    assert all(f"page {n} of {len(pages)}" in page for n, page in enumerate(pages, 1))
    assert not re.search(r"\b(nan|inf|None|UNSET|unset)\b|see report|report says", said(pages))
    assert "lever" in first
    assert "Bolt pattern" in first
    assert not re.search(r"(?:at|,) 0 \d", first), "0 and what is aside read as one number"
    own = _own_words(survey, layout, pages)
    assert not re.search(r"outlet at -?\d+,|\b0\" \(\d mm\)|\(\d mm \(0\"\)|\(between -", own), "no unit, or nought"
    assert not (survey.wall.kind in MASONRY and "backing" in own), "wood advice on masonry"
    assert not (found := _ABROAD.search(own)), found
    assert not ("no brackets" in first and "Loads here are" in first), "loads of brackets that are not there"
    if survey.is_second:
        assert re.search(r"0 is the left (jamb|corner) of .*?Check: ", first)
    if layout.brackets and layout.fastener is not None:
        words = re.search(r"Each bracket: .*?(?:tip|torque|ft-lb\)|nothing is drilled)", first)
        assert words, first
        if "No hole is known" not in words[0] and "report, so" not in words[0]:
            assert re.search(r"(?:pilot|hole) depth use", first), "what one drills by is not in the schedule"
        if layout.fastener.diameter is not None:
            assert re.search(
                r"Pilot [0-9].* deep from the wall's face; [0-9].* for the shank, [0-9].* deep; hold", words[0]
            )
        elif survey.is_second:
            assert re.search(
                r"Hole [0-9].* deep from the masonry's face(?:, [0-9].* with the cover)?; embedment [0-9].*edge [0-9]"
                r".*next [0-9]",
                words[0],
            )
            deep = re.search(r"([0-9][^,;]*?) (?:with the cover|deep from the masonry's face;)", words[0])
            assert deep, words[0]
            assert deep[1] in first.split("Each bracket")[0], "the schedule has another depth than the words"
            assert "stud" not in said(pages).replace("studs,", "")
        else:
            assert "STOP: do not drill" in first


def _own_words(survey: Survey, layout: Layout, pages: list[str]) -> str:
    """What the sheets say that today's rules of wording are for: of a first survey all but its findings.

    Those are part of a layout that is promised to stay word for word as it was (`tests/pinned`), and in some of them a
    screw may stand 0" off the middle, or an arm on block gets backing: today's sheets carry such a finding and cannot
    mend it. What the drawing writes by itself is judged in both forms alike.
    """
    if survey.is_second:
        return said(pages)
    bare = draw_sheets(survey, replace(layout, findings=()), job=TITLE, site=SITE)
    return said([said([text.text for text in written(sheet)]) for sheet in bare])


def _doors(survey: Survey, pages: list[str]) -> None:
    """Of several doors each that a sentence calls by its number has it in the picture, or in the words beside it."""
    for number in re.findall(r"(?:leaf|way) of door (\d+)", said(pages)) if len(survey.doors) > 1 else ():
        assert re.search(rf"door {number}(?:, swings out|,|(?! \())", pages[0]), number
        assert not re.search(r"\bdoor(?:, swings out)? (?!\d)(?:door|arm|clear)", pages[0])


def _outlet_is_named(sheet: str, first: str) -> None:
    """Where the outlet's circle is drawn, it has its name or a letter in the picture."""
    if re.search(r'<circle cx="[^"]+" cy="[^"]+" r="1"', sheet):
        assert not re.search(r"(?:On the wall: |; )outlet at", first)


def _pointers(layout: Layout, pages: list[str], units: str) -> None:
    if units == "metric":
        assert not re.search(r"\" \(\d+ mm\)", said(pages)), "inches go first"
        measures = Measures("metric")
        layout = replace(layout, findings=tuple(replace(f, text=measures.turned(f.text)) for f in layout.findings))
    found = sort_out(layout.findings)
    first, rest = pages[0], "".join(plain(page) for page in pages[1:])
    for finding in layout.findings:  # nothing is dropped: on one sheet or another, or run on from column to column
        words = plain(finding.text)
        assert words in plain(first) or words in rest or _run_on(words, [plain(page) for page in pages]), finding.code
    here = [finding for finding in found.special if _there(finding.text, first)]
    assert len(here) <= MOST_ON_SHEET
    if counted := re.search(
        r"(\d+) cautions? of this wall to settle before drilling(?:, (\d+) more on page 2)?", first
    ):
        assert int(counted[1]) == len(here)
        assert int(counted[2] or 0) == len(found.special) - len(here)
    named = re.search(r"No room here, so on the next page: (?:\d+ stops?(?: and |, ))?(\d+) cautions?", first)
    if named:  # as many as the foot says
        assert re.search(rf": the bracket with its holes.*?[^g] {named[1]} cautions?[,.]", first), named[0]
    if counted is None and not found.stops and "STOP" not in first:
        assert "Nothing special to this wall" in first
        assert not found.special
    for page in re.findall(r"[Pp]ages? (\d+)", said(pages)):
        assert 1 <= int(page) <= len(pages)
    assert "layout file" not in said(pages)
    assert "see the footer" not in first or "Always: " in first


def _counts(pages: list[str]) -> None:
    """The foot of the first sheet counts what the reader finds on the later ones, of each kind."""
    foot = re.search(r"Pages? [2-9][^.]*: the bracket with its holes, .*?\.(?= |$)", pages[0])
    assert foot, "the first sheet does not say what the others hold"
    for word in ("Stop", "Caution", "Note"):
        named = re.findall(rf"(\d+) (?:standing )?{word.lower()}s?\b", foot[0])
        assert sum(map(int, named)) == len(re.findall(rf"(?<!\w){word}: ", " ".join(pages[1:]))), (word, foot[0])
    if counted := re.search(r"(\d+) cautions? of this wall to settle", pages[0]):
        assert int(counted[1]) == len(re.findall(r"(?<!\w)Caution: ", pages[0]))
    stops = re.search(r"do not drill\. (\d+) things? to settle first(?:, (\d+) of them on the next page)?", pages[0])
    if stops:
        assert int(stops[2] or 0) == len(re.findall(r"(?<!\w)Stop: ", " ".join(pages[1:])))
        assert int(stops[1]) == len(re.findall(r"(?<!\w)Stop: ", " ".join(pages)))


def _letters(sheet: str, first: str) -> None:
    """What stands in the picture as a letter alone is told on the same sheet."""
    for text in re.findall(r">([a-z])</text>", sheet):
        assert re.search(rf"(?<!\w){text}: .*?(?: from the zero| up)(?:;|\Z| )", first), text


def _there(text: str, page: str) -> bool:
    words = plain(text)
    return words in plain(page) or _run_on(words, [plain(page)])


def _run_on(words: str, pages: list[str], pieces: int = 3) -> bool:
    """Whether a finding stands there in two pieces, or three: begun in one column, ended in another."""
    for page in pages if pieces else ():
        if words in page:
            return True
        cut = max((n for n in range(12, len(words) - 2) if words[:n] in page), default=0)
        if cut and _run_on(words[cut:], pages, pieces - 1):
            return True
    return False
