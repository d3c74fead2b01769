"""What a crew's day holds, on the phone and on paper: the same things, whatever the day."""

from __future__ import annotations

import datetime
import html
import io
import random
import re
from pathlib import Path

import pypdf
import pytest
from sqlmodel import col, select

from api import tables
from api.database import transaction
from api.day.content import DANGERS, day_content, day_sheet_pdf
from api.fields.wording import PLAIN
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE
from tests.service.day.day_cast import CREW, DAY, HOME, MORNING, on_the_morning, phone, post, post_day
from tests.steps import CHECKS


def squeezed(text: str) -> str:
    """Return the text without blanks, for paper breaks lines where it likes."""
    return re.sub(r"\s+", "", text).replace("-", "").lower()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_phone_and_paper_name_the_same_things(built: BuiltDemo, tmp_path: Path, seed: int) -> None:
    post_day(built.out, tmp_path / "posted")
    chance = random.Random(seed)
    with on_the_morning(tmp_path / "posted") as app:
        with transaction(app.state.database) as session:
            open_visits = select(tables.Visit.id).where(tables.Visit.state == "open").order_by(col(tables.Visit.id))
            jobs = chance.sample(list(session.exec(open_visits)), chance.randint(1, 4))
            post(session, {CREW: [(job, 500 + 120 * n, 600 + 120 * n) for n, job in enumerate(jobs)]})
        page = html.unescape(phone(app).get(HOME, headers=PAGE).text)
        with transaction(app.state.database) as session:
            stored = session.exec(select(tables.StoredPlan).order_by(col(tables.StoredPlan.id).desc())).first()
            assert stored is not None
            day = day_content(session, stored, session.get_one(tables.Crew, CREW), DAY, MORNING)
            paper = day_sheet_pdf(session, CREW, DAY, MORNING)
            assert paper is not None
            names = [day.lead.name, day.van.id, day.yard.name, *day.cautions_for_all]
            names += [f"{pieces} × {item}, from the shelf" for load in day.loads for item, pieces in load.shelf.items()]
            for stop in day.stops:
                found = stop.page
                names += [stop.entry.job, found.site.address, found.customer.name, found.customer.phone]
                names += [*stop.cautions, *stop.steps, *(f"{i.quantity} × {i.name}" for i in stop.lines)]
                names += [finding.text for finding in stop.findings if finding.level != "note"]
                assert stop.steps == CHECKS[found.job.visit.kind]
    assert [stop.entry.job for stop in day.stops] == jobs
    on_paper = squeezed("".join(sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(paper)).pages))
    on_phone = squeezed(re.sub(r"<[^>]+>", "", page))
    names = [PLAIN.say(name) for name in names]  # as both write weights
    assert [name for name in names if squeezed(name) not in on_phone] == []
    assert [name for name in names if squeezed(name) not in on_paper] == []


def test_what_to_mind_first_is_what_stops_the_work(built: BuiltDemo, tmp_path: Path) -> None:
    jobs = post_day(built.out, tmp_path / "posted")
    with on_the_morning(tmp_path / "posted") as app, transaction(app.state.database) as session:
        stored = session.exec(select(tables.StoredPlan).order_by(col(tables.StoredPlan.id).desc())).first()
        assert stored is not None
        crew = session.get_one(tables.Crew, CREW)
        stops = day_content(session, stored, crew, DAY, MORNING).stops
        away = day_content(session, stored, crew, DAY + datetime.timedelta(days=1), MORNING)
    assert (away.cell, away.stops) == (None, ())
    install = next(stop for stop in stops if stop.entry.job == jobs.install)
    assert 0 < len(install.dangers) <= DANGERS
    everything = " ".join([*install.cautions, *(f.text for f in install.findings)])
    assert all(head in everything and rest in everything for head, rest in install.dangers)
    assert len(install.places) == len(install.holes) == 4
    assert [x for x, _ in install.places] == sorted(x for x, _ in install.places)
