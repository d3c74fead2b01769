"""Surveys of walls: for which awning a job's survey is, how it begins, and keeping it so that no edit is lost."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.http import versions
from api.http.problems import Problem
from api.jobs.numbers import called_after
from api.ledger.facts.job import measured_before, newest_surveys, rows, unnamed_walls
from api.ledger.history import note
from api.papers.stored.keeper import renew
from api.survey.compare import differences
from api.survey.fields import is_asked
from api.survey.form import BESIDE, Reading, fields_of, read_fields
from scheduler.errors import BadInput
from scheduler.layout.documents import Survey, survey_from_data
from scheduler.layout.fitting import in_the_middle
from scheduler.units import exact_length

# The awning's width stands in its order in whole millimetres; the survey may have it to a sixteenth of an inch.
WIDTH_APART_MM = 1.0
LONGEST_NOTE = 2000


class ChangedMeanwhile(Exception):
    """Somebody else has kept another version of the survey: `row`."""

    def __init__(self, row: tables.SiteSurvey) -> None:
        super().__init__(row.id)
        self.row = row


def awnings_for(session: Session, visit: tables.Visit) -> list[tables.Awning]:
    """Return the awnings whose wall a visit may survey: its own, else those of its site's open orders.

    What was ordered for a wall that another visit measured is that visit's.
    """
    awning = tables.Awning
    if visit.awning_id is not None:
        return rows(session, awning, col(awning.id) == visit.awning_id)
    orders = rows(session, tables.Order, tables.Order.site_id == visit.site_id, tables.Order.state == "open")
    mine = [order.id for order in orders if visit.order_id in (None, order.id)]
    others = select(tables.SiteSurvey.visit_id).where(tables.SiteSurvey.site_id == visit.site_id)
    walls = select(tables.Visit.awning_id).where(
        col(tables.Visit.id).in_(others.where(col(tables.SiteSurvey.visit_id).is_not(None))),
        col(tables.Visit.awning_id).is_not(None),
    )
    return rows(session, awning, col(awning.order_id).in_(mine), col(awning.id).not_in(walls))


def has_install(session: Session, awning_id: str) -> bool:
    """Say whether a visit hangs the awning, or has hung it."""
    visit = tables.Visit
    wanted = (visit.awning_id == awning_id, visit.kind == "install", visit.state != "cancelled")
    return session.exec(select(visit.id).where(*wanted).limit(1)).first() is not None


def survey_of(session: Session, awning_id: str) -> tables.SiteSurvey | None:
    """Return the survey that counts for an awning."""
    return newest_surveys(session, [awning_id]).get(awning_id)


def survey_for(session: Session, awning: tables.Awning | None, visit: tables.Visit) -> tables.SiteSurvey | None:
    """Return the survey that a visit's form changes: that of the awning, else of its wall that has no awning yet."""
    own = survey_of(session, awning.id) if awning is not None else None
    return own or measured_before(session, visit, None if awning is None else awning.id)


def maker_brackets(session: Session, awning_id: str) -> int:
    """Return how many brackets the maker's list has, 0 where it says nothing."""
    part = session.get(tables.MakerPart, (awning_id, "bracket"))
    return 0 if part is None else part.quantity


def first_fields(session: Session, awning: tables.Awning, units: str) -> tuple[dict[str, str], str]:
    """Return the fields that a new survey begins with, and the survey from which the model's sizes were taken.

    Of the wall nothing is filled in: it is measured. The model's sizes come from the newest survey of an awning of the
    same model and width, where there is one.
    """
    fields: dict[str, str] = {}
    taken = ""
    same = (
        select(tables.SiteSurvey)
        .join(tables.Awning, col(tables.Awning.id) == tables.SiteSurvey.awning_id)
        .where(tables.Awning.model == awning.model, tables.Awning.width_mm == awning.width_mm)
        .order_by(col(tables.SiteSurvey.surveyed_on).desc(), col(tables.SiteSurvey.id).desc())
        .limit(1)
    )
    known = session.exec(same).first()
    if known is not None:
        old = fields_of(survey_from_data(known.document), units)
        fields = {name: text for name, text in old.items() if name.startswith("awning.")}
        taken = known.id
    fields |= {
        "awning.width": exact_length(awning.width_mm, units),
        "awning.projection": exact_length(awning.projection_mm, units),
        "awning.weight_kg": f"{awning.weight_kg} kg",
        "awning.motor": awning.motor or "",
        "place.slide": exact_length(0, units),
    }
    return fields, taken


def shown_fields(
    session: Session, awning: tables.Awning | None, row: tables.SiteSurvey, units: str
) -> tuple[dict[str, str], str]:
    """Return the fields of a form that changes `row`, and the survey from which a model's sizes were taken.

    Where the awning was chosen after its wall was measured, it hangs in the middle of the clear band at first.
    """
    fields = fields_of_row(row, units)
    if awning is not None and row.awning_id is not None:
        return fields, ""
    wall = {name: text for name, text in fields.items() if is_asked(name, before=True)}
    if awning is None:
        return wall, ""
    own, taken = first_fields(session, awning, units)
    band = survey_from_data(row.document).band
    left_end, slide = in_the_middle(band.left, band.right, awning.width_mm)
    place = {"place.left_end": exact_length(left_end, units), "place.slide": exact_length(slide, units)}
    return wall | own | place, taken


def read(fields: Mapping[str, str], survey_id: str, units: str, awning: tables.Awning | None) -> Reading:
    """Return what a form says of a wall, for its awning or before there is one."""
    return read_fields(fields, survey_id, units, before=awning is None)


def check_width(survey: Survey, awning: tables.Awning) -> None:
    """Raise `BadInput` where the survey is for another width than the awning that was ordered."""
    if abs(survey.awning.width - awning.width_mm) > WIDTH_APART_MM:
        ordered = exact_length(awning.width_mm)
        raise BadInput(
            "awning.width", f"must be that of the awning ordered ({ordered}); change the order where that is wrong"
        )


@dataclass(frozen=True)
class Beside:
    """What is kept beside the document."""

    surveyed_on: datetime.date
    surveyed_by: str
    uncertain: str

    def fields(self) -> dict[str, str]:
        return {
            "surveyed_on": self.surveyed_on.isoformat(),
            "surveyed_by": self.surveyed_by,
            "uncertain": self.uncertain,
        }


def read_beside(fields: Mapping[str, str], reading: Reading) -> Beside | None:
    """Return what stands beside the document; None where it is wrong, which `reading` then tells."""
    text = {name: fields.get(name, "").strip() for name in BESIDE}
    day = None
    try:
        day = datetime.date.fromisoformat(text["surveyed_on"])
    except ValueError:
        reading.wrong["surveyed_on"] = "Must be a date such as 2027-04-12."
    if day is not None and not 2000 <= day.year <= 2999:
        reading.wrong["surveyed_on"] = "Must lie in this millennium."
    if not text["surveyed_by"]:
        reading.missing["surveyed_by"] = "Say who measured."
    for name, most in (("surveyed_by", 120), ("uncertain", LONGEST_NOTE)):
        if len(text[name]) > most:
            reading.wrong[name] = f"Must have at most {most} characters, has {len(text[name])}."
        if any((ord(letter) < 32 and letter not in "\r\n\t") or ord(letter) == 127 for letter in text[name]):
            reading.wrong[name] = "Holds a character that cannot be written; write it again."
    if day is None or any(name in reading.faults for name in BESIDE):
        return None
    return Beside(day, text["surveyed_by"], text["uncertain"].replace("\r\n", "\n"))


def fields_of_row(row: tables.SiteSurvey, units: str) -> dict[str, str]:
    """Return the fields of a survey that is kept, with what stands beside its document."""
    beside = Beside(row.surveyed_on, row.surveyed_by, row.uncertain)
    return fields_of(survey_from_data(row.document), units) | beside.fields()


def keep(
    session: Session,
    awning: tables.Awning | None,
    visit: tables.Visit,
    site_id: str,
    survey: Survey,
    beside: Beside,
    version: int | None,
    *,
    by: str,
    now: datetime.datetime,
) -> tables.SiteSurvey:
    """Keep `survey` as that of `awning`: in place of `version` of the one that counts, or as the first (None).

    Before there is an awning (None) it is kept for the wall that `visit` measures, and the awning that is ordered for
    that takes it. Layout,
    drawing and kit of the awning's open installs are made of it at once. Raises `ChangedMeanwhile` where the one that
    counts is in another version, or there is one where None was meant; `BadInput` for a wrong width.
    """
    if awning is not None:
        check_width(survey, awning)
    # Two first surveys of one wall at once: the second waits here, and then finds the first.
    same = sa.update(tables.Site).where(col(tables.Site.id) == site_id).values(id=tables.Site.id)
    session.execute(same.execution_options(synchronize_session=False))
    session.expire_all()
    row, awning_id = survey_for(session, awning, visit), awning.id if awning is not None else None
    if row is None:
        number = called_after(session, visit.id, tables.SiteSurvey, "V")
        row = tables.SiteSurvey(
            id=number, site_id=site_id, awning_id=awning_id, document={}, **vars(beside),
            visit_id=visit.id if awning is None else None,
        )  # fmt: skip
        row.document = _document(survey, row.id)
        session.add(row)
        session.flush()
        note(session, now, by, "made", "survey", row.id, {"awning": awning_id, **beside.fields()})
    else:
        if version != row.version:
            raise ChangedMeanwhile(row)
        detail = _changes(row, survey, beside, taken_by=awning_id if row.awning_id is None else None)
        values = {"document": _document(survey, row.id), "site_id": site_id, "awning_id": awning_id, **vars(beside)}
        if not versions.update(session, row, values):
            raise ChangedMeanwhile(row)
        if detail:
            note(session, now, by, "changed", "survey", row.id, detail)
    remake(session, awning_id, now)
    return row


def take(session: Session, visit: tables.Visit, survey_id: str, *, by: str, now: datetime.datetime) -> None:
    """Say that `visit` measured a wall of which nobody had said so.

    Raises `Problem` 409 where it is another's by now, or the visit has one.
    """
    survey = tables.SiteSurvey
    own = select(survey.id).where(survey.visit_id == visit.id, col(survey.awning_id).is_(None))
    row = next((one for one in unnamed_walls(session, visit.site_id) if one.id == survey_id), None)
    free = session.exec(own.limit(1)).first() is None
    if row is None or not free or not versions.update(session, row, {"visit_id": visit.id}):
        raise Problem(409, "This wall has its visit by now. Open the survey again.", kind="changed-meanwhile")
    note(session, now, by, "changed", "survey", row.id, {"visit_id": [None, visit.id]})


def _document(survey: Survey, survey_id: str) -> dict[str, Any]:
    document: dict[str, Any] = msgspec.to_builtins(survey)
    return {**document, "id": survey_id}


def _changes(row: tables.SiteSurvey, survey: Survey, beside: Beside, *, taken_by: str | None) -> dict[str, Any]:
    old = fields_of_row(row, "imperial")
    new = fields_of(survey) | beside.fields()
    if row.awning_id is None:  # its awning was a usual one: what is said of that is no change
        new = {name: text for name, text in new.items() if is_asked(name, before=True)}
        old = {name: text for name, text in old.items() if is_asked(name, before=True)}
    changed = {one.label: [one.theirs, one.mine] for one in differences(new, old, {})}
    return changed | ({"awning": ["", taken_by]} if taken_by is not None else {})


def remake(session: Session, awning_id: str | None, now: datetime.datetime) -> None:
    """Make the papers of an awning's open installs of what is known now: whoever has kept a survey looks at them."""
    if awning_id is None:
        return
    visit = tables.Visit
    wanted = (col(visit.awning_id) == awning_id, col(visit.kind) == "install", col(visit.state) == "open")
    installs = rows(session, visit, *wanted)
    if installs:
        session.flush()
        renew(session, [install.id for install in installs], now)
