"""The yard as JSON records: yards, people with their days off, vans, crews with their hours, equipment."""

from __future__ import annotations

import datetime
from typing import Annotated, Self

from pydantic import Field, model_validator
from sqlmodel import Session

from api import tables
from api.fields.limits import limit
from api.http.subject import Subject
from api.office.checks import CREW_USERS, PERSON_USERS, VAN_USERS, YARD_USERS, check_crew, check_yard
from api.routes.nouns.noun import RecordPart, noun
from api.routes.records import Body

EquipmentKind = Annotated[str, limit("equipment.kind")]


class DaysBody(Body):
    """Days from first to last, both included, and why."""

    first: Annotated[datetime.date, limit("day_off.first")]
    last: Annotated[datetime.date, limit("day_off.last")]
    why: Annotated[str, limit("day_off.why")]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.last < self.first:
            raise ValueError(f"last must not come before first ({self.first}), is {self.last}")
        return self


class DaysOffBody(DaysBody):
    """Days on which somebody is away: the whole of each, or its part before or after noon."""

    part: Annotated[str, limit("day_off.part")] = "day"


class CrewHoursBody(Body):
    """One weekday's working time (0 = Monday), minutes after midnight; `overtime`: at most so many more."""

    weekday: Annotated[int, limit("crew_hours.weekday")]
    start: Annotated[int, limit("crew_hours.start")]
    end: Annotated[int, limit("crew_hours.end")]
    overtime: Annotated[int, limit("crew_hours.overtime")] = 0

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.end <= self.start:
            raise ValueError(f"end must come after start ({self.start}), is {self.end}")
        return self


class YardBody(Body):
    """Where crews start and kits lie."""

    name: Annotated[str, limit("yard.name")]
    lat: Annotated[float, limit("yard.lat")]
    lon: Annotated[float, limit("yard.lon")]
    address: Annotated[str, limit("yard.address")] = ""


class PersonBody(Body):
    """Somebody who works here; `weekdays` are those usually worked (0 = Monday), an extra costs `day_cents` a day."""

    name: Annotated[str, limit("person.name")]
    yard_id: Annotated[str, limit("person.yard_id")]
    role: Annotated[str, limit("person.role")]
    phone: Annotated[str, limit("person.phone")] = ""
    skills: Annotated[list[Annotated[str, limit("person.skills")]], Field(max_length=20, default_factory=list)]
    weekdays: Annotated[str, limit("person.weekdays")] = "01234"
    day_cents: Annotated[int, limit("person.day_cents")] = 0
    learner: bool = False
    experienced: bool = True
    weekly_hours: Annotated[int, limit("person.weekly_hours")] | None = None
    active: bool = True
    language: Annotated[str, limit("person.language")] = ""
    days_off: Annotated[list[DaysOffBody], Field(max_length=200, default_factory=list)]


class VanBody(Body):
    """A van; `onboard` is how many of each equipment kind stay on it, `days_out` when it cannot be driven."""

    yard_id: Annotated[str, limit("van.yard_id")]
    payload_kg: Annotated[int, limit("van.payload_kg")]
    rack_mm: Annotated[int, limit("van.rack_mm")]
    boxes: Annotated[int, limit("van.boxes")]
    onboard: dict[EquipmentKind, Annotated[int, limit("van.onboard")]] = Field(default_factory=dict, max_length=50)
    days_out: Annotated[list[DaysBody], Field(max_length=200, default_factory=list)]


class CrewBody(Body):
    """A lead and a helper with their van, their prices, and their hours by weekday."""

    name: Annotated[str, limit("crew.name")]
    yard_id: Annotated[str, limit("crew.yard_id")]
    lead_id: Annotated[str, limit("crew.lead_id")]
    helper_id: Annotated[str, limit("crew.helper_id")] | None = None
    van_id: Annotated[str, limit("crew.van_id")]
    day_cents: Annotated[int, limit("crew.day_cents")]
    minute_cents: Annotated[int, limit("crew.minute_cents")]
    overtime_minute_cents: Annotated[int, limit("crew.overtime_minute_cents")]
    km_cents: Annotated[float, limit("crew.km_cents")]
    outside: bool = False
    visit_cents: Annotated[int, limit("crew.visit_cents")] = 0
    active: bool = True
    hours: Annotated[list[CrewHoursBody], Field(max_length=7, default_factory=list)]

    @model_validator(mode="after")
    def _each_day_once(self) -> Self:
        days = [span.weekday for span in self.hours]
        if len(set(days)) < len(days):
            raise ValueError("hours must give each weekday once")
        return self


class EquipmentBody(Body):
    """One ladder, lift or tool that the yard's crews share, and the days on which it is out of service."""

    kind: EquipmentKind
    yard_id: Annotated[str, limit("equipment.yard_id")]
    name: Annotated[str, limit("equipment.name")]
    checked_on: Annotated[datetime.date, limit("equipment.checked_on")] | None = None
    active: bool = True
    out_of_service: Annotated[list[DaysBody], Field(max_length=200, default_factory=list)]


def _nothing(session: Session, yard_id: str, sent: YardBody) -> None:
    """A yard names nothing else."""


def _yard(session: Session, one_id: str, sent: PersonBody | VanBody | EquipmentBody) -> None:
    check_yard(session, one_id, sent.model_dump(include={"yard_id"}))


def _crew(session: Session, crew_id: str, sent: CrewBody) -> None:
    check_crew(session, crew_id, sent.model_dump(), [span.weekday for span in sent.hours])


router = Subject()
for part in (
    noun("/yards", "yard", tables.Yard, YardBody, check=_nothing, users=YARD_USERS),
    noun(
        "/people",
        "person",
        tables.Person,
        PersonBody,
        check=_yard,
        users=PERSON_USERS,
        part=RecordPart("days_off", tables.DayOff, "person_id", "first"),
    ),
    noun(
        "/vans",
        "van",
        tables.Van,
        VanBody,
        check=_yard,
        users=VAN_USERS,
        part=RecordPart("days_out", tables.VanOut, "van_id", "first"),
    ),
    noun(
        "/crews",
        "crew",
        tables.Crew,
        CrewBody,
        check=_crew,
        users=CREW_USERS,
        part=RecordPart("hours", tables.CrewHours, "crew_id", "weekday"),
    ),
    noun(
        "/equipment",
        "piece of equipment",
        tables.Equipment,
        EquipmentBody,
        check=_yard,
        users={},
        part=RecordPart("out_of_service", tables.OutOfService, "equipment_id", "first"),
    ),
):
    router.routes.extend(part.routes)
