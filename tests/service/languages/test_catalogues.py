"""Day sheets, papers and messages in a language: nothing outside its catalogues; `test_readers.py` asks whose.

The pseudo-language brackets every text of the catalogues: letters outside of brackets that are not the business's own
words are text that no catalogue holds.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
import weasyprint
from babel.messages.pofile import read_po, write_po
from fastapi import FastAPI
from jinja2 import Environment
from sqlmodel import SQLModel, select

from api import tables
from api.database import transaction
from api.day.content import day_sheet_pdf
from api.hand_over.sheet import hand_over_letter, hand_over_pdf
from api.http import pages
from api.jobs.packet import packet_pdf
from api.languages import catalogues, core, speaking
from api.languages.core import core_says
from api.languages.core_source import core_texts
from api.languages.extraction import CORE, work_kind_texts
from api.languages.templates import TemplateTexts
from api.languages.update import updated
from api.ledger import kept as in_memory
from api.messages.words import WHY, late_words, words
from api.papers.shown import pdf
from api.papers.shown.job_page import job_pages
from scheduler.layout.drawing import describe
from tests.service.cast import PAGE
from tests.service.day.day_cast import CREW, DAY, HOME, MORNING, Jobs, phone

ROOT = Path(__file__).parents[3]
_NAMED = re.compile(r"(\{\w+\})")
_LETTER = re.compile(r"[^\W\d_]")
_INLINE = re.compile(r"</?(?:a|abbr|b|code|em|i|output|span|strong)\b[^>]*>")
_SAID = re.compile(r"⟦[^⟦⟧\n]*(?:⟧|(?=\n)|$)")
_READ_OUT = re.compile(r'\b(?:aria-label|alt|placeholder|title)="([^"]*)"')
# Units, and how the standard library of days writes them: the same for every catalogue.
_SAME = {
    "mm", "ft", "in", "lb", "kg", "min", "mph", "Pa", "ft-lb", "lun", "mar", "mié", "jue", "vie", "sáb", "dom", "ene",
    "feb", "abr", "may", "jun", "jul", "ago", "sept", "oct", "nov", "dic", "am", "pm", "of", "martes", "lunes",
    "abril", "de", "GFCI", "IA", "IAA", "III", "NDS",
}  # fmt: skip


@pytest.fixture
def bracketed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The catalogues of Spanish with every text in brackets in place of its translation."""
    real = catalogues.path_of
    for domain in ("messages", "phone", "pages", "core", "refusals"):
        with real("es", domain).open("rb") as file:
            catalogue = read_po(file, locale="es")
        for message in catalogue:
            forms = [message.id] if isinstance(message.id, str) else list(message.id)
            told = [_bracket(forms[min(n, len(forms) - 1)]) for n in range(1 if len(forms) == 1 else 3)]
            message.string = told[0] if len(told) == 1 else tuple(told)
        with (tmp_path / f"{domain}.po").open("wb") as file:
            write_po(file, catalogue)
    monkeypatch.setattr(catalogues, "path_of", lambda _, domain: tmp_path / f"{domain}.po")
    kept = (
        catalogues.texts,
        core._patterns,
        core._said,
        core._whole,
        core._as_it_stands,
        core._in_parts,
        pages._templates,
        pdf._environment,
    )
    for cache in kept:
        cache.cache_clear()
    in_memory._by_database.clear()
    pages._templates("es").env.bytecode_cache = None  # what is written on them otherwise is compiled anew
    yield
    for cache in kept:
        cache.cache_clear()
    in_memory._by_database.clear()


def _bracket(text: str) -> str:
    """Return a text with what is not a value in brackets; a value that is a word of English alone is left out."""
    parts = _NAMED.split(re.sub(r"\{either\d*\}", "", text))
    return "".join(f"⟦{part}⟧" if _LETTER.search(part) and not part.startswith("{") else part for part in parts)


def own_words(app: FastAPI) -> list[str]:
    """Return what the business itself has written: names, notes, what its surveys call things; the longest first."""
    found: set[str] = set()

    def gather(value: Any) -> None:
        if isinstance(value, str):
            found.update((value, value.removeprefix("the "), value[:1].upper() + value[1:]))
        for one in value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else ():
            gather(one)

    kinds: tuple[type[SQLModel], ...] = (
        tables.Business, tables.Customer, tables.Site, tables.Person, tables.Crew, tables.Van, tables.Yard,
        tables.Awning, tables.MakerPart, tables.Visit, tables.StockItem, tables.Booking, tables.PostedWeek,
    )  # fmt: skip
    ours = {"kind", "work_id", "state", "rules", "limits", "times", "language"}
    with transaction(app.state.database) as session:
        for kind in kinds:
            for row in session.exec(select(kind)):
                gather({name: value for name, value in row.model_dump().items() if name not in ours})
        for page in job_pages(session, list(session.exec(select(tables.Visit.id))), MORNING).values():
            if page.job.survey is not None:
                survey = msgspec.to_builtins(page.job.survey)
                gather([survey["anchor"], survey["obstacles"], survey.get("datum"), survey["wall"].get("tie")])
    return sorted((text for text in found if _LETTER.search(text)), key=len, reverse=True)


def outside(text: str, own: list[str]) -> list[str]:
    """Return the words of a text that stand outside of brackets and are not the business's own."""
    left = _SAID.sub(" ", text)
    for known in own:
        if known in left:
            left = left.replace(known, " ")
    return [word for word in re.findall(r"[^\W\d_][\w’'-]+", left) if word not in _SAME and not re.search(r"\d", word)]


def seen(page: str) -> str:
    """Return what is read of a page or paper, one element a line."""
    bare = re.sub(r"<(script|style|svg)\b.*?</\1>|<!--.*?-->", "", page, flags=re.DOTALL)
    read_out = "\n".join(_READ_OUT.findall(bare))
    text = html.unescape(re.sub(r"<[^>]+>", "\n", _INLINE.sub("", bare)) + "\n" + read_out)
    return text.replace("\u00a0", " ")  # at which no line breaks: "12 ft"


def test_every_catalogue_is_whole() -> None:
    """Up to date with the sources, nothing untranslated or unsettled, the same values in a text and its translation."""
    assert list(updated(keep=False)) == []


def test_kinds_of_work_are_in_the_catalogue_and_a_businesss_own_stay_as_they_were_typed(
    day: tuple[FastAPI, Jobs],
) -> None:
    app, jobs = day
    with transaction(app.state.database) as session:
        kinds = session.exec(select(tables.WorkKind)).all()
        assert {text for kind in kinds for text in (kind.name, kind.told, *kind.steps)} == set(work_kind_texts(ROOT))
        page = phone(app).get(HOME, headers=PAGE).text
        assert "desmontaje y almacenaje" in page
        assert "brazos amarrados antes de aflojar cualquier perno" in page
        assert "A la estantería B-4, " in page
        visit = session.get_one(tables.Visit, jobs.repair)
        visit.work_id = "wash"
        session.add(tables.WorkKind(id="wash", name="wash", counts_as="repair", told="awning wash", steps=["hose off"]))
        session.flush()
        with speaking("es"):
            subject, *_ = words(session, jobs.repair, None, before=None, why="")
        assert subject.endswith(": awning wash tiene que esperar")
        session.rollback()


def test_modules_whose_findings_crews_read_are_all_in_the_catalogue() -> None:
    making = {
        path.relative_to(ROOT / "scheduler").as_posix()
        for path in (ROOT / "scheduler/layout").rglob("*.py")
        if re.search(r"(?<!class )\bFinding\(", path.read_text()) and path.name not in ("documents.py", "page.py")
    }
    assert making <= set(CORE)
    texts = list(core_texts((ROOT / "scheduler/layout/statics/wood.py").read_text()))
    assert any(text.startswith("The check of the rafters holds where their tails reach at most {") for _, text in texts)


@pytest.mark.usefixtures("bracketed")
def test_no_text_of_the_phone_is_outside_the_catalogues(day: tuple[FastAPI, Jobs]) -> None:
    app, _ = day
    page = phone(app).get(HOME, headers=PAGE).text
    assert '<html lang="es"' in page
    assert "⟦" in page
    assert outside(seen(page), own_words(app)) == []


@pytest.mark.usefixtures("bracketed")
def test_no_text_of_papers_is_outside_the_catalogues(
    day: tuple[FastAPI, Jobs], monkeypatch: pytest.MonkeyPatch
) -> None:
    app, jobs = day
    printed: list[str] = []

    class Html:
        def __init__(self, string: str, **_: Any) -> None:
            printed.append(string)

        def write_pdf(self) -> bytes:
            return b"%PDF"

    monkeypatch.setattr(weasyprint, "HTML", Html)
    own = own_words(app)
    with transaction(app.state.database) as session:
        day_sheet_pdf(session, CREW, DAY, MORNING)
        hand_over_pdf(session, jobs.install, MORNING)
        with speaking("es"):
            packet_pdf(session, jobs.install, MORNING)
            packet_pdf(session, jobs.repair, MORNING)
        letter = hand_over_letter(session, jobs.install, MORNING)
        assert letter is not None
    assert len(printed) == 5
    for paper in [*printed, letter.subject + "\n" + letter.body]:
        assert outside(seen(paper), own) == []


@pytest.mark.slow
@pytest.mark.usefixtures("bracketed")
def test_no_sentence_of_the_demos_walls_is_outside_the_catalogues(day: tuple[FastAPI, Jobs]) -> None:
    app, _ = day
    own = own_words(app)
    said: set[str] = set()
    with transaction(app.state.database) as session:
        found = job_pages(session, list(session.exec(select(tables.Visit.id))), MORNING).values()
        for n, page in enumerate(found):
            survey, layout = page.job.survey, page.job.layout
            if survey is not None and layout is not None:
                said |= {finding.text for finding in layout.findings}
                said |= set(describe(survey, layout, units="metric") if n % 3 == 0 else ())
    assert len(said) > 300
    with speaking("es"):
        left = {text: words for text in said if (words := outside(core_says(text), own))}
    assert left == {}


@pytest.mark.usefixtures("bracketed")
def test_no_text_of_messages_is_outside_the_catalogues(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    own = own_words(app)
    spot = {"crew": CREW, "date": "2027-04-13", "start": 540, "end": 750, "hold": "soft"}
    firm = spot | {"start": 60, "end": 90, "hold": "firm"}
    with transaction(app.state.database) as session, speaking("es"):
        for visit in (jobs.install, jobs.repair):
            told = [late_words(session, visit, firm, 100)]
            for why in WHY:
                told += [
                    words(session, visit, now, before=was, why=why)
                    for now in (spot, firm, None)
                    for was in (None, spot)
                ]
            for said in told:
                assert outside("\n".join(said), own) == []


def test_a_sentence_with_values_is_known_by_its_text_and_a_strange_one_stays() -> None:
    told = "The screw enters the stud more than 1-1/4 in: a cable may lie there without a steel plate (NEC 300.4). "
    with speaking("es"):
        assert core_says(told + "Look for hidden services with a detector, and switch off circuits in this wall.") == (
            "El tornillo entra en el montante más de 1-1/4 pulg: puede haber ahí un cable sin placa de acero (NEC "
            "300.4). Busque servicios ocultos con un detector, y corte los circuitos de esta pared."
        )
        assert core_says("Walk to the end of the road and back.") == "Walk to the end of the road and back."
    assert core_says(told) == told


def test_a_sentence_of_a_template_keeps_its_tags_and_is_whole_for_each_of_its_choices() -> None:
    source = (
        '<p>{{ n }} {{ "visit waits" if n == 1 else "visits wait" }} for <a href="/x?{{ q }}">the yard</a>.</p>'
        '<p>{{ "Keep" if old else "Make" }}</p><p><b>{% if x %}late{% endif %}</b> <a>Jobs</a> · <a>Week</a></p>'
        '<i class="{{ "on" if n == 1 else "off" }}">{{ ", " if more }}</i>'
    )
    found: list[str | tuple[str, str]] = []

    def say(text: str | tuple[str, str], _: int) -> str | tuple[str, str]:
        found.append(text)
        told = {"Keep": "Guardar", "Make": "Crear"}
        return ("<a>La base</a>: {n}", "<a>La base</a>: las {n}") if isinstance(text, tuple) else told.get(text, text)

    whole = TemplateTexts(source)
    told = whole.unmasked(whole.each(say))
    sentence = "{n} %s for <a>the yard</a>."
    assert found == [(sentence % "visit waits", sentence % "visits wait"), "Keep", "Make", "late", "Jobs", "Week"]
    shown = Environment().from_string(told)
    assert '<p><a href="/x?q">La base</a>: 1</p><p>Guardar</p>' in shown.render(n=1, q="q", old=True)
    assert '<p><a href="/x?q">La base</a>: las 2</p><p>Crear</p>' in shown.render(n=2, q="q")
    whole = TemplateTexts(source)
    assert whole.unmasked(whole.each(lambda text, _: text)) == source


def test_the_texts_of_a_template_name_their_values_and_leave_statements_alone() -> None:
    source = (
        '<p title="Call {{ who.name }}">By {{ a.b | upper }}{% if x %}, late{% endif %} &amp; {{ 3 }}</p>'
        "<script>no</script>"
    )
    found: list[str] = []

    def say(text: str | tuple[str, str], _: int) -> str:
        assert isinstance(text, str)
        found.append(text)
        return text.replace("By {b}", "{b}, por").replace("Call", "Llamar a").replace("late", "tarde")

    whole = TemplateTexts(source)
    told = whole.unmasked(whole.each(say))
    assert found == ["Call {name}", "By {b}", ", late"]
    assert told == (
        '<p title="Llamar a {{ who.name }}">{{ a.b | upper }}, por{% if x %}, tarde{% endif %} &amp; {{ 3 }}</p>'
        "<script>no</script>"
    )
