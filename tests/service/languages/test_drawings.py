"""Wall drawings in another language: nothing is drawn that was not given to be said, and all of that is known."""

from __future__ import annotations

import datetime
import random
import re
import xml.etree.ElementTree as ET

import pytest
from fastapi import FastAPI

from api.access.accounts import Role
from api.languages import speaking
from api.languages.core import core_says
from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Survey
from scheduler.layout.drawing import draw_sheets
from scheduler.layout.drawing.page import bracket_places
from scheduler.layout.drawing.paper.measures import Say
from scheduler.layout.drawing.paper.sheet import n
from scheduler.layout.drawing.title import Title
from scheduler.layout.site.shade import ShadeSite
from tests.drawn import NAMESPACE
from tests.service.cast import signed_in
from tests.service.day.day_cast import HOME, MORNING, Jobs, phone
from tests.surveys import KINDS, random_second
from tests.unit.layout.test_drawing import assert_clean

JOB = Title("J-7", "Q", "7 R", datetime.date(2027, 4, 12))
SITE = ShadeSite(41.42, -98.27, "America/Chicago", 2027)
# Units and codes: the same in every language.
_SAME = {"mm", "ft", "in", "layout"}


def walls() -> list[Survey]:
    return [random_second(random.Random(f"said {kind}"), kind=kind) for kind in KINDS]  # type: ignore[arg-type]


def sheets(survey: Survey, say: Say) -> list[str]:
    return list(draw_sheets(survey, lay_out(survey), job=JOB, site=SITE, say=say))


def words(svg: str) -> list[str]:
    text = " ".join(element.text or "" for element in ET.fromstring(svg).iter() if element.tag != f"{NAMESPACE}desc")
    return re.findall(r"[^\W\d_]{2,}", text)


def test_no_word_is_drawn_that_was_not_given_to_be_said() -> None:
    for survey in walls():
        for svg in sheets(survey, lambda _: "…"):
            assert set(words(svg.replace(survey.id, ""))) <= _SAME, survey.wall.kind


def test_every_text_of_a_wall_drawing_is_said_in_spanish_and_covers_nothing() -> None:
    stayed: set[str] = set()

    def say(text: str) -> str:
        told = core_says(text)
        if told == text and re.search(r"[a-z]{3}", text):
            stayed.add(text)
        return told

    with speaking("es"):
        for survey in walls()[::3]:
            own = {obstacle.what for obstacle in survey.obstacles}
            drawn = sheets(survey, say)
            for svg in drawn:
                assert_clean(svg)
            assert "Wall drawing" not in drawn[0]
            assert "Dibujo de la pared J-7" in drawn[0]
            assert stayed <= own


@pytest.mark.parametrize("kind", KINDS)
def test_longer_words_cover_nothing_either(kind: str) -> None:
    def say(text: str) -> str:
        return re.sub(r"\b([a-z]{3,})\b", r"\1e", text)

    survey = random_second(random.Random(f"longer {kind}"), kind=kind)  # type: ignore[arg-type]
    for svg in sheets(survey, say):
        assert_clean(svg)
    # The phone steps from bracket to bracket on the very sheet that it shows.
    places = bracket_places(survey, lay_out(survey), say=say)
    first = sheets(survey, say)[0]
    wide = float(ET.fromstring(first).get("width", "").removesuffix("mm"))
    assert all(f'd="M{n(x * wide)} ' in first for x, _ in places)


def test_a_crew_gets_its_drawing_and_its_refusals_in_its_language_and_the_office_in_english(
    day: tuple[FastAPI, Jobs],
) -> None:
    app, jobs = day
    crew, office = phone(app), signed_in(app, Role.office)
    address = f"{HOME}/drawings/{jobs.install}"
    theirs, ours = crew.get(address), office.get(address)
    assert "Dibujo de la pared" in theirs.text
    assert "Wall drawing" not in theirs.text
    assert "Wall drawing" in ours.text
    assert theirs.headers["etag"] != ours.headers["etag"]
    refused = crew.get(f"{HOME}/drawings/nowhere")
    assert refused.status_code == 404
    assert "no tiene el dibujo de la pared" in refused.json()["detail"]
    assert refused.json()["title"] == "No existe esta página"
    body = {"at": MORNING.isoformat(), "visit": jobs.install, "outcome": "partly"}
    told = crew.post(f"{HOME}/results", json=body, headers={"Idempotency-Key": "one"})
    assert told.status_code == 422
    assert "diga por qué no se pudo terminar" in told.json()["detail"]
