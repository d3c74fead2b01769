"""The wall drawing: nothing covers anything, all is on the paper, and what it says is what the layout says."""

from __future__ import annotations

import random
import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import msgspec
import pytest

from scheduler.errors import BadInput
from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding, Layout, Survey
from scheduler.layout.drawing import describe, draw_svg
from scheduler.layout.drawing.page import PAPERS_MM, draw_sheets
from scheduler.units import feet_inches
from tests.drawn import NAMESPACE, Written, overlapping, segments, written
from tests.seeds import some_now
from tests.surveys import plain_survey, random_survey

LEAST_SIZE = 2.8
LEAST_MARGIN = 6.0
STUDS = [round(406.4 * n, 1) for n in range(60)]


def assert_clean(svg: str) -> list[Written]:
    """No text covers other text, is struck by a line, is small, or leaves the paper; return the texts."""
    root = ET.fromstring(svg)
    wide, high = (float(root.get(side, "0").removesuffix("mm")) for side in ("width", "height"))
    texts = written(svg)
    assert overlapping(texts) == []
    assert [(text.text, text.struck[0]) for text in texts if text.struck] == []
    assert [text.text for text in texts if text.size < LEAST_SIZE] == []
    outside = [
        text.text
        for text in texts
        if min(text.box[0], text.box[1], wide - text.box[2], high - text.box[3]) < LEAST_MARGIN
    ]
    assert outside == []
    return texts


def drawn_words(svg: str) -> str:
    return " ".join(element.text or "" for element in ET.fromstring(svg).iter(f"{NAMESPACE}text"))


@pytest.mark.slow
@pytest.mark.parametrize("batch", some_now(range(8), 3))
def test_text_of_random_surveys_covers_nothing_and_stays_on_the_paper(batch: int) -> None:
    for seed in range(batch * 25, batch * 25 + 25):
        survey = random_survey(random.Random(seed))
        layout = lay_out(survey)
        svg = draw_svg(
            survey, layout, units=("imperial", "metric")[seed % 2], paper=("letter", "letter", "a4")[seed % 3]
        )  # type: ignore[arg-type]
        try:
            assert_clean(svg)
        except AssertionError as fault:
            raise AssertionError(f"survey {seed}: {fault}") from None


def obstacles(count: int, what: str) -> list[dict[str, object]]:
    rng = random.Random(count)
    places = [(rng.uniform(-200, 5000), rng.uniform(0, 3000)) for _ in range(count)]
    return [{"what": what, "left": x, "right": x + 150, "bottom": y, "top": y + 200} for x, y in places]


EXTREMES = {
    "seventeen brackets": {
        "awning": {"width": 20000, "arms": [600, 6000, 13000, 19000]}, "band": {"right": 21000},
        "wall": {"members": STUDS},
    },
    "long anchor names": {
        "awning": {"width": 20000, "arms": [600, 6000, 13000, 19000]}, "band": {"right": 21000},
        "wall": {"kind": "concrete", "members": []},
        "anchor": {"name": "A" * 200, "tension_n": 5000, "shear_n": 5000, "source": "S" * 200},
    },
    "sixty obstacles": {"obstacles": obstacles(60, "light")},
    "long names": {"obstacles": obstacles(100, "W" * 200)},
    "other scripts": {"obstacles": obstacles(4, "Abflußrohr Ščř 煙突 🔥 é́́́́́")},
    "datum far left": {
        "place": {"left_end": 40000}, "band": {"left": 39000, "right": 48000},
        "wall": {"members": [40000 + stud for stud in STUDS]},
    },
    "datum far right": {
        "place": {"left_end": -40000}, "band": {"left": -41000, "right": -30000},
        "wall": {"members": [-40000 + stud for stud in STUDS]},
    },
    "sixty metres up": {"place": {"height": 60000}, "band": {"bottom": 59000, "top": 60500}},
    "on the ground": {"place": {"height": 100}, "band": {"bottom": 0, "top": 300}},
    "steep": {"awning": {"pitch_deg": 85, "projection": 10000}},
    "high band": {"band": {"bottom": 0, "top": 50000}},
    "sixty doors": {
        "doors": [{"left": 90 * k, "right": 90 * k + 900, "top": 2000 + k, "swings_out": k % 2 == 0} for k in range(60)]
    },
    "two hundred members": {"wall": {"members": [25.0 * k for k in range(200)]}},
    "large body": {"awning": {"body_above": 2000, "body_below": 2000, "front_drop": 2000}},
    "long id": {"id": "W" * 200},
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", EXTREMES)
@pytest.mark.parametrize("units", ["imperial", "metric"])
def test_extreme_surveys_are_drawn_cleanly(name: str, units: str) -> None:
    survey = plain_survey(**EXTREMES[name])
    assert_clean(draw_svg(survey, lay_out(survey), units=units, paper="letter"))  # type: ignore[arg-type]


def test_every_bracket_can_be_read_off_from_either_mark() -> None:
    survey = plain_survey()
    layout = lay_out(survey)
    for units, first, other in (("imperial", feet_inches, "{:.0f} mm"), ("metric", "{:.0f}", feet_inches)):
        texts = [text.text for text in written(draw_svg(survey, layout, units=units))]  # type: ignore[arg-type]
        for bracket in layout.brackets:
            for length in (bracket.wall, bracket.at):
                assert (first(length) if callable(first) else first.format(length)) in texts
                assert (other(length) if callable(other) else other.format(length)) in texts


def test_brackets_stand_at_the_stated_scale() -> None:
    for seed in range(12):
        survey = random_survey(random.Random(seed))
        layout = lay_out(survey)
        svg = draw_svg(survey, layout)
        found = re.search(r"Elevation 1 : (\d+)", svg)
        assert found
        filled = [
            [line[0] for line in segments(path.get("d", ""))]
            for path in ET.fromstring(svg).iter(f"{NAMESPACE}path")
            if path.get("fill") == "#262626"
        ]
        wide = survey.awning.bracket_width / int(found[1])
        bodies = [xs for xs in filled if len(xs) == 4 and max(xs) - min(xs) == pytest.approx(wide, abs=0.03)]
        middles = [(min(xs) + max(xs)) / 2 for xs in bodies]
        for bracket, bracket_after in pairwise(layout.brackets):
            step = (bracket_after.wall - bracket.wall) / int(found[1])
            assert any(b - a == pytest.approx(step, abs=0.03) for a in middles for b in middles)


def test_the_page_has_its_true_size() -> None:
    for paper, (wide, high) in PAPERS_MM.items():
        root = ET.fromstring(draw_svg(plain_survey(), lay_out(plain_survey()), paper=paper))
        assert root.get("width") == f"{wide:g}mm"
        assert root.get("height") == f"{high:g}mm"
        assert root.get("viewBox") == f"0 0 {wide:g} {high:g}"  # one unit of the drawing is a millimetre


def test_use_is_named_with_its_case() -> None:
    layout = lay_out(plain_survey())
    words = drawn_words(draw_svg(plain_survey(), layout))
    assert f"{100 * (layout.brackets[0].use or 0):.0f} % A" in words
    assert "A self weight and service wind class 2 down, open" in words


def test_a_wall_without_layout_is_drawn_with_the_backing_that_its_stop_names() -> None:
    survey = plain_survey(wall={"members": [2438.4, 2844.8, 4064.0]})
    layout = lay_out(survey)
    assert not layout.brackets
    stop = next(finding.text for finding in layout.findings if finding.code == "no-backing")
    needed = re.search(r"more (?:is|are) needed at (.+?): find", stop)
    assert needed
    texts = [text.text for text in assert_clean(draw_svg(survey, layout))]
    for place in re.findall(r"[^,]+? \(\d+ mm\)", needed[1]):
        assert place.strip().partition(" (")[0] in texts
    words = " ".join(texts)
    assert "STOP: do not drill" in words
    assert "No holes" in words


@pytest.mark.parametrize("kind", ["brick-veneer", "fascia"])
def test_a_wall_that_carries_nothing_is_drawn_as_a_stop(kind: str) -> None:
    survey = plain_survey(wall={"kind": kind, "members": []})
    assert "STOP: do not drill" in " ".join(text.text for text in assert_clean(draw_svg(survey, lay_out(survey))))


def with_findings(findings: list[Finding]) -> tuple[Survey, Layout]:
    survey = plain_survey()
    return survey, msgspec.structs.replace(lay_out(survey), findings=tuple(findings))


def test_findings_that_fit_stand_in_full() -> None:
    texts = ["Ask the owner about the pipe behind the wall.", "Two people lift.", "Look at the paint."]
    survey, layout = with_findings(
        [Finding(level, f"code-{level}", text) for level, text in zip(("stop", "caution", "note"), texts, strict=True)]  # type: ignore[arg-type]
    )
    words = drawn_words(draw_svg(survey, layout)).replace("  ", " ")
    for text in texts:
        assert text in words
    assert "No room here" not in words


def test_no_finding_is_dropped_silently() -> None:
    many = [
        Finding(
            ("note", "stop", "caution")[k % 3], f"thing-{k}", f"Thing{k} is {'rather long-winded, ' * 8}and ends{k}."
        )  # type: ignore[arg-type]
        for k in range(60)
    ]
    survey, layout = with_findings(many)
    svg, *later = draw_sheets(survey, layout)
    words = " ".join(text.text for text in assert_clean(svg))
    shown = [finding for finding in many if f"ends{finding.code.removeprefix('thing-')}." in words]
    assert all(finding.level == "stop" for finding in shown)  # those come first
    assert len(shown) > 3
    assert re.search(r"No room here, so on the next page: \d+ stops and 20 cautions", words)
    told = re.search(r"Pages 2 (?:to|and) (\d+): .*?, (\d+) stops?, 20 cautions, 20 notes", words)
    assert told
    assert (int(told[1]), int(told[2])) == (len(later) + 1, 20 - len(shown))
    beyond = " ".join(text.text for page in later for text in assert_clean(page))
    for finding in many:  # nothing is dropped
        assert f"ends{finding.code.removeprefix('thing-')}." in (words if finding in shown else beyond)
    for finding in many:  # for people who cannot see it everything is there
        assert finding.text in svg.partition("</desc>")[0]


def test_hostile_text_stays_text() -> None:
    name = '<script>alert("1")</script> & <a href="x"> \u202e \x07 ]]>'
    survey = plain_survey(id=f"</title>{name}"[:200], obstacles=obstacles(3, name))
    svg = draw_svg(survey, lay_out(survey))
    root = ET.fromstring(svg)
    tags = {element.tag.removeprefix(NAMESPACE) for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "rect", "path", "circle", "text"}
    assert "\u202e" not in svg
    assert "\x07" not in svg
    assert 'alert("1")' in " ".join(root.itertext())


def test_the_file_needs_nothing_from_elsewhere_and_has_no_ids_to_clash_on_a_page() -> None:
    svg = draw_svg(plain_survey(), lay_out(plain_survey()))
    links = re.findall(r"https?://[^\"]+", svg)
    assert links == ["http://www.w3.org/2000/svg"]
    assert not re.search(r'\b(id|href|style|class|on\w+)="', svg)
    assert "url(" not in svg


def test_the_same_input_gives_the_same_file() -> None:
    survey = random_survey(random.Random(3))
    assert draw_svg(survey, lay_out(survey)) == draw_svg(survey, lay_out(survey))


def test_title_and_description_tell_what_the_picture_shows() -> None:
    survey = plain_survey()
    layout = lay_out(survey)
    root = ET.fromstring(draw_svg(survey, layout))
    assert root.get("role") == "img"
    assert root[0].tag == f"{NAMESPACE}title"
    assert root[0].text == "Wall drawing alder-4m"
    assert root[1].text == " ".join(describe(survey, layout))


def test_the_description_says_every_fact() -> None:
    survey = plain_survey(obstacles=obstacles(1, "porch light"), place={"slide": 0})
    lines = describe(survey, lay_out(survey), units="metric")
    text = "\n".join(lines)
    assert "4000 mm (13' 1 1/2\") wide" in text
    # 3 m of cloth at 14 degrees: drop 0.7258 m, reach 2.9109 m (trigonometry)
    assert "drops 726 mm" in text
    assert "reaches 2911 mm" in text
    assert "Bracket 1: 813 mm" in text
    assert "on stud 3 from the left, outer bracket of arm 1" in text
    assert "porch light" in text
    assert sum(line.startswith(("Stop:", "Caution:", "Note:")) for line in lines) == len(lay_out(survey).findings)


def test_a_layout_of_another_survey_is_refused() -> None:
    layout = lay_out(plain_survey())
    with pytest.raises(BadInput, match=r'survey: must be the id of the survey drawn \("other"\), is "alder-4m"'):
        draw_svg(plain_survey(id="other"), layout)
    damaged = msgspec.structs.replace(layout, brackets=(msgspec.structs.replace(layout.brackets[0], member=99),))
    with pytest.raises(BadInput, match=r"brackets\[0\]\.member"):
        draw_svg(plain_survey(), damaged)


def test_more_brackets_than_a_sheet_has_room_for_are_refused() -> None:
    layout = lay_out(plain_survey())
    with pytest.raises(BadInput, match="must be 20 or fewer"):
        draw_svg(plain_survey(), msgspec.structs.replace(layout, brackets=layout.brackets * 6))
