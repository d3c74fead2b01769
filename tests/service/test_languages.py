"""Day sheets, papers and messages in the reader's language: nothing outside the catalogues, and each reader's own.

The pseudo-language brackets every text of the catalogues: letters outside of brackets that are not the business's own
words are text that no catalogue holds.
"""

from __future__ import annotations

import datetime
import html
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pypdf
import pytest
import weasyprint
from babel.messages.pofile import read_po, write_po
from fastapi import FastAPI
from sqlmodel import Session, SQLModel, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.day.paper import day_sheet_pdf
from api.day.van_changes import van_changes
from api.exchange.importing import IMPORTABLE, import_tables
from api.exchange.uploads import read_upload
from api.falls.today import today_in
from api.fields.sheets import BadFiles
from api.hand_over.sheet import hand_over_letter, hand_over_pdf
from api.http import pages
from api.jobs.packet import packet_pdf
from api.languages import catalogues, core, day_in_words, gettext, ngettext, speaking
from api.languages.core import core_says, core_texts
from api.languages.extraction import CORE, work_kind_texts
from api.languages.templates import TemplateTexts
from api.languages.update import updated
from api.ledger.languages import language_of_crew
from api.ledger.plans.posted_days import posted_day
from api.messages.words import WHY, late_words, words, written
from api.papers.shown import pdf
from api.papers.shown.job_page import job_pages
from scheduler.layout.drawing import describe
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, signed_in
from tests.service.day_cast import CREW, DAY, HOME, MORNING, OTHER, Jobs, on_the_morning, phone, post, post_day

ROOT = Path(__file__).parents[2]
_NAMED = re.compile(r"(\{\w+\})")
_LETTER = re.compile(r"[^\W\d_]")
_INLINE = re.compile(r"</?(?:b|strong|span|a|em)\b[^>]*>")
_SAID = re.compile(r"⟦[^⟦⟧\n]*(?:⟧|(?=\n)|$)")
_READ_OUT = re.compile(r'\b(?:aria-label|alt|placeholder|title)="([^"]*)"')
# Units, and how the standard library of days writes them: the same for every catalogue.
_SAME = {
    "mm",
    "ft",
    "in",
    "lb",
    "kg",
    "min",
    "mph",
    "Pa",
    "ft-lb",
    "lun",
    "mar",
    "mié",
    "jue",
    "vie",
    "sáb",
    "dom",
    "ene",
    "feb",
    "abr",
    "may",
    "jun",
    "jul",
    "ago",
    "sept",
    "oct",
    "nov",
    "dic",
    "am",
    "pm",
    "of",
    "martes",
    "lunes",
    "abril",
    "de",
    "GFCI",
    "IA",
    "IAA",
    "III",
    "NDS",
}


@pytest.fixture(scope="module")
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs]]:
    """A posted day of an install, a repair and a survey, all of whose people and customers read Spanish."""
    folder = tmp_path_factory.mktemp("spanish") / "posted"
    jobs = post_day(built.out, folder)
    with on_the_morning(folder) as app:
        with transaction(app.state.database) as session:
            survey = session.exec(select(tables.Visit).where(tables.Visit.kind == "survey")).first()
            assert survey is not None
            post(session, {CREW: [(jobs.install, 540, 780), (jobs.repair, 840, 930), (survey.id, 960, 1000)]})
            for row in [*session.exec(select(tables.Person)), *session.exec(select(tables.Customer))]:
                row.language = "es"
                session.add(row)
            _stored(session, jobs)
        yield app, jobs


def _stored(session: Session, jobs: Jobs) -> None:
    """Have the second visit take down the awning of the first, to a rack."""
    visit, awning = session.get_one(tables.Visit, jobs.repair), session.get_one(tables.Visit, jobs.install).awning_id
    yard = session.exec(select(tables.Yard)).first()
    assert yard is not None
    assert awning is not None
    visit.awning_id, visit.work_id = awning, "take-down"
    session.add_all([visit, tables.StoredAwning(awning_id=awning, yard_id=yard.id, rack="B-4")])


@pytest.fixture
def bracketed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The catalogues of Spanish with every text in brackets in place of its translation."""
    real = catalogues.path_of
    for domain in ("messages", "phone", "core"):
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
        core._in_parts,
        pages._templates,
        pdf._environment,
    )
    for cache in kept:
        cache.cache_clear()
    yield
    for cache in kept:
        cache.cache_clear()


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
    return html.unescape(re.sub(r"<[^>]+>", "\n", _INLINE.sub("", bare)) + "\n" + read_out)


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
            subject, _ = words(session, jobs.repair, None, before=None, why="")
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
            for subject, body in told:
                assert outside(f"{subject}\n{body}", own) == []


def test_each_reader_has_their_own_language(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    for reader, language in (
        (phone(app), "es"),
        (signed_in(app, Role.lead), "es"),
        (signed_in(app, Role.office), "en"),
    ):
        page = reader.get(HOME, headers=PAGE).text
        assert f'<html lang="{language}"' in page
        assert ("Pasos por firmar" in page) is (language == "es")
        # What is sent is the same in every language, and what the office reads of it.
        assert 'data-step="level line"' in page
        assert 'value="nobody at home"' in page
    assert (
        phone(app)
        .post(f"{HOME}/back", json={"at": "2027-04-12T11:30:00Z"})
        .json()["detail"]
        .startswith("No se ha anotado")
    )
    paper = phone(app).get(f"/jobs/{jobs.repair}/packet.pdf").content
    assert "Precauciones" in pypdf.PdfReader(io.BytesIO(paper)).pages[0].extract_text()
    assert "Messages" in signed_in(app, Role.office).get("/messages", headers=PAGE).text


def test_papers_of_a_day_are_in_the_language_of_its_lead_on_the_roster_and_name_what_changes_vans(
    day: tuple[FastAPI, Jobs],
) -> None:
    app, jobs = day
    with transaction(app.state.database) as session:
        ours = posted_day(session, CREW, DAY)
        assert ours is not None
        van = {"boxes": 2, "equipment": {"ladder-24": 1}, "at": 600}
        for taker, giver, stop in ((CREW, OTHER, None), (OTHER, CREW, jobs.install)):
            row = tables.DayRepair(
                day=DAY, kind="hand over", visit_id=jobs.install if taker == CREW else jobs.others, from_crew=giver,
                to_crew=taker, van=van | {"stop": stop}, plan_id=ours.posted.plan_id,
                before_id=ours.posted.plan_id, taken_at=MORNING, taken_by="x",
            )  # fmt: skip
            session.add(row)
        session.flush()
        with speaking("es"):
            taken, given = van_changes(session, ours)[jobs.install]
        things = "su kit (2 cajas), 1 × escalera de 24 pies"
        assert taken == f"Recibido de Veldt: cargue {things} en la base, hora aproximada 10:00."
        assert given.startswith(f"Veldt se encarga ahora de {jobs.others}: déjele {things} en el lugar de ")
        other = session.get_one(tables.Crew, OTHER)
        session.get_one(tables.Person, other.lead_id).language = "en"
        assert language_of_crew(session, CREW, DAY) == "es"
        session.add(tables.RosterDay(day=DAY, rides={CREW: [[other.lead_id], [other.lead_id]]}))
        session.flush()
        assert language_of_crew(session, CREW, DAY) == "en"
        session.rollback()


def test_what_is_kept_for_every_reader_does_not_depend_on_who_asked_first(day: tuple[FastAPI, Jobs]) -> None:
    app, _ = day
    found = []
    for language in ("en", "es"):
        with transaction(app.state.database) as session, speaking(language):
            today = today_in(session, DAY, MORNING)
            assert today is not None
            found.append((today.because, today.stopped, today.gone))
    assert "expected on" in str(found[0])
    assert found[0] == found[1]


def test_a_message_is_in_the_customers_language_with_its_english_beside_it(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    spot = {"crew": CREW, "date": "2027-04-13", "start": 780, "end": 990, "hold": "firm"}
    with transaction(app.state.database) as session:
        told = written(session, jobs.install, lambda: words(session, jobs.install, spot, before=None, why=""))
        assert told.language == "es"
        assert "el martes 13 de abril, y llegamos a las 13:00." in told.body
        assert "El trabajo toma más o menos 3 horas y media." in told.body
        assert "on Tuesday, April 13, and arrive at 13:00." in told.english
        visit = session.get_one(tables.Visit, jobs.install)
        site = session.get_one(tables.Site, visit.site_id)
        customer = session.get_one(tables.Customer, site.customer_id)
        customer.language = "en"
        session.add(customer)
        session.flush()
        english = written(session, jobs.install, lambda: words(session, jobs.install, spot, before=None, why=""))
        assert (english.language, english.english) == ("en", "")
        assert english.body in told.english
        session.rollback()


def test_a_language_is_taken_from_a_column_that_may_be_missing(day: tuple[FastAPI, Jobs]) -> None:
    app, _ = day
    head = "customer,name,phone,email,note"
    with transaction(app.state.database) as session:
        for text, language in (
            (f"{head},language\nC-900,A,1,,,es\n", "es"),
            (f"{head}\nC-900,B,1,,\n", "es"),
            (f"{head},language\nC-900,B,1,,,\n", ""),
        ):
            uploads = read_upload(text.encode(), "customers.csv", IMPORTABLE)
            import_tables(session, uploads, keep=True, now=MORNING, by="test")
            assert session.get_one(tables.Customer, "C-900").language == language
        wrong = read_upload(f"{head},language\nC-900,B,1,,,fr\n".encode(), "customers.csv", IMPORTABLE)
        with pytest.raises(BadFiles, match='must be one of en, es or empty, is "fr"'):
            import_tables(session, wrong, keep=True, now=MORNING, by="test")
        session.rollback()


def test_days_and_counts_follow_the_language() -> None:
    with speaking("es"):
        assert day_in_words(datetime.date(2027, 4, 13), "EEE d MMM") == "mar 13 abr"
        assert [ngettext("stop", "stops", n) for n in (0, 1, 2)] == ["paradas", "parada", "paradas"]
        assert gettext("a text that nobody has translated") == "a text that nobody has translated"
    assert ngettext("stop", "stops", 2) == "stops"


def test_a_sentence_with_values_is_known_by_its_text_and_a_strange_one_stays() -> None:
    told = "The screw enters the stud more than 1-1/4 in: a cable may lie there without a steel plate (NEC 300.4). "
    with speaking("es"):
        assert core_says(told + "Look for hidden services with a detector, and switch off circuits in this wall.") == (
            "El tornillo entra en el montante más de 1-1/4 pulg: puede haber ahí un cable sin placa de acero (NEC "
            "300.4). Busque servicios ocultos con un detector, y corte los circuitos de esta pared."
        )
        assert core_says("Walk to the end of the road and back.") == "Walk to the end of the road and back."
    assert core_says(told) == told


def test_the_texts_of_a_template_name_their_values_and_leave_statements_alone() -> None:
    source = (
        '<p title="Call {{ who.name }}">By {{ a.b | upper }}{% if x %}, late{% endif %} &amp; {{ 3 }}</p>'
        "<script>no</script>"
    )
    found: list[str] = []

    def say(text: str, _: int) -> str:
        found.append(text)
        return text.replace("By {b}", "{b}, por").replace("Call", "Llamar a").replace("late", "tarde")

    whole = TemplateTexts(source)
    told = whole.unmasked(whole.each(say))
    assert found == ["Call {name}", "By {b}", ", late"]
    assert told == (
        '<p title="Llamar a {{ who.name }}">{{ a.b | upper }}, por{% if x %}, tarde{% endif %} &amp; {{ 3 }}</p>'
        "<script>no</script>"
    )
