"""Each reader's own language: pages, papers by the lead, messages by the customer, and what is kept for all of them."""

from __future__ import annotations

import datetime
import io

import pypdf
import pytest
from fastapi import FastAPI

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.day.van_changes import van_changes
from api.exchange.importing import IMPORTABLE, import_tables
from api.falls.today import today_in
from api.fields.files.sheets import BadFiles
from api.languages import day_in_words, gettext, ngettext, speaking
from api.ledger.languages import language_of_crew
from api.ledger.plans.posted_days import posted_day
from api.messages.words import words, written
from api.uploads.reading import read_upload
from tests.service.cast import PAGE, signed_in
from tests.service.day.day_cast import CREW, DAY, HOME, MORNING, OTHER, Jobs, phone


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
    # A choice of one's own goes first, on the crew's day too.
    for reader in (signed_in(app, Role.lead), signed_in(app, Role.office)):
        for language in ("en", "es"):
            reader.cookies.set("eave-language", language)
            assert f'<html lang="{language}"' in reader.get(HOME, headers=PAGE).text
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
        assert given.startswith(f"Veldt se encarga ahora de {jobs.others}: déjele {things} en el domicilio de ")
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
        assert told["language"] == "es"
        assert "el martes 13 de abril, y llegamos a las 13:00." in told["body"]
        assert "El trabajo toma más o menos 3 horas y media." in told["body"]
        assert "on Tuesday, April 13, and arrive at 13:00." in told["english"]
        visit = session.get_one(tables.Visit, jobs.install)
        site = session.get_one(tables.Site, visit.site_id)
        customer = session.get_one(tables.Customer, site.customer_id)
        customer.language = "en"
        session.add(customer)
        session.flush()
        english = written(session, jobs.install, lambda: words(session, jobs.install, spot, before=None, why=""))
        assert (english["language"], english["english"]) == ("en", "")
        assert english["body"] in told["english"]
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
