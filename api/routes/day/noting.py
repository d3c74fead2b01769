"""What all that is noted on a day sheet shares: when, of which visit, by whom, and whose day it may be."""

from __future__ import annotations

import datetime
from typing import Annotated

from pydantic import AwareDatetime, Field
from sqlmodel import Session

from api.access.accounts import Role
from api.access.day_links import HOME_LATE
from api.access.guards import STAFF, Who, allow, days_handed_in, found, own_crew_day
from api.http.problems import Problem, responses
from api.languages import chosen_language, gettext, speak
from api.ledger.languages import language_of_business, language_of_crew
from api.ledger.plans.posted_days import Act, PostedDay, act, working_day
from api.routes import records
from api.tables import Crew

Reader = Annotated[Who, allow(*STAFF, crew_link=True)]
Writer = Annotated[Who, allow(Role.manager, Role.office, Role.lead, crew_link=True, hand_in=True)]
REFUSALS = responses(409)


class Noted(records.Body):
    """Something noted on a day sheet; `at` is when, by the phone's clock."""

    at: Annotated[AwareDatetime, Field(strict=False)]


class NotedOfVisit(Noted):
    """Something noted of one visit.

    `although_moved`: the crew knows that the visit was moved away from its day meanwhile, and notes it all the same.
    """

    visit: Annotated[records.Words, Field(min_length=1, max_length=80)]
    although_moved: bool = False


class OutBody(Noted):
    """The van leaves; where a kit is not on it, who decides so by name, and why."""

    overruled_by: Annotated[records.Words, Field(max_length=80)] = ""
    overruled_why: Annotated[records.Words, Field(max_length=500)] = ""


def own_day(session: Session, who: Who, crew_id: str, day: datetime.date, *, write: bool = False) -> None:
    """Refuse a day that is not the caller's, as `own_crew_day`; what follows is said in the reader's language."""
    crew = who.link_id is not None or who.role is Role.lead
    if crew:
        speak(chosen_language() or language_of_crew(session, crew_id, day))
    elif chosen_language() is None:
        speak(language_of_business(session))
    own_crew_day(session, who, crew_id, day, write=write)


def acting(
    session: Session, who: Who, crew_id: str, day: datetime.date, body: Noted, now: datetime.datetime
) -> tuple[PostedDay, Act]:
    """Return the posted day on which something is noted, by whom and when; answers 404 or 409 where there is none."""
    found(session, Crew, crew_id, "crew")
    noted_in_time(session, who, day, body.at)
    return working_day(session, crew_id, day), act(who.name, body.at, now)


def noted_in_time(session: Session, who: Who, day: datetime.date, at: datetime.datetime) -> None:
    """Refuse what a phone says it noted long after `day`, on which its link was good."""
    if who.link_id is None or (who.day == day and not who.over):
        return
    end = days_handed_in(session, who).get(day)
    if end is None or at >= end + HOME_LATE:
        raise Problem(403, gettext("This was noted after the day of this phone's link was over: tell the office."))
