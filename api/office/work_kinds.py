"""The kinds of work, and what hangs on them: callbacks, places in racks, services that come back every year."""

from __future__ import annotations

import calendar
import datetime
import re
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.business.part import BadValues
from api.fields.limits import limit
from api.fields.rules import KINDS
from api.http import versions
from api.ledger.history import note
from api.office.checks import known
from api.office.kind import (
    Kind,
    KindColumn,
    Values,
    awning_column,
    counted,
    day,
    listed,
    names,
    plain,
    several,
    switch,
)
from api.workers.turns import Turn, one_at_a_time
from scheduler.errors import BadInput

MOST_STEPS = 30
_SAID = re.compile(r"(?i)(?:j\s*[-–#]?\s*)?([0-9]{3,9})")
COST = (("ours", "ours"), ("maker", "the maker's"), ("customer", "the customer's"))
RACK = (("", "nothing"), ("in", "goes into a rack"), ("out", "comes out of a rack"))
STATES = (("kept", "kept for it"), ("in", "it lies there"), ("out", "it hangs again"))
MONTHS = tuple((calendar.month_name[n], calendar.month_name[n]) for n in range(1, 13))


def _check_kind(session: Session, key: str | None, values: Values) -> None:
    counts_as = values["counts_as"]
    if values["id"] in KINDS and values["id"] != counts_as:
        raise BadInput("counts_as", f"must stay {values['id']}: prices, times and limits go by it")
    if counts_as == "install" and not (values["drawing"] and values["kit"]):
        column = "kit" if values["drawing"] else "drawing"
        raise BadInput(column, "must be yes where it counts as an install: its wall is drawn, its crate counted")
    before = session.get(tables.WorkKind, key) if key is not None else None
    if before is not None and before.counts_as != counts_as:
        visits = select(sa.func.count()).select_from(tables.Visit).where(tables.Visit.work_id == key)
        if n := session.exec(visits).one():
            words = f"is {before.counts_as} for {n} visits already: make another kind of work for the new ones"
            raise BadInput("counts_as", words)


def _check_callback(session: Session, key: str | None, values: Values) -> None:
    visit = known(session, tables.Visit, "visit_id", values["visit_id"], "job")
    of = known(session, tables.Visit, "of_id", values["of_id"], "job")
    if visit.id == of.id:
        raise BadInput("of_id", "must be another visit than the callback itself")
    if visit.site_id != of.site_id:
        raise BadInput("of_id", f"{of.id} was at another site than {visit.id}")


def _tell_crew(session: Session, row: Any, values: Values, by: str, now: datetime.datetime) -> None:
    """Have the crew read why, where the visit says nothing yet of the work to be done."""
    visit = session.get_one(tables.Visit, row.visit_id)
    if not visit.fault and versions.update(session, visit, {"fault": row.why}):
        note(session, now, by, "changed", "visit", visit.id, {"fault": ["", row.why]})


def _check_rack(session: Session, key: str | None, values: Values) -> None:
    known(session, tables.Awning, "awning_id", values["awning_id"], "awning")
    if values["state"] == "out":
        return
    row = tables.StoredAwning
    same = (row.yard_id == values["yard_id"], row.awning_id != values["awning_id"], row.state != "out")
    for other in session.exec(select(row).where(*same).order_by(col(row.awning_id))):
        if other.rack.casefold() == values["rack"].casefold():
            raise BadInput("rack", f"{other.rack} in the yard {other.yard_id} is taken by {other.awning_id}")


def _check_follow(session: Session, key: str | None, values: Values) -> None:
    first = known(session, tables.Visit, "first_id", values["first_id"], "job")
    then = known(session, tables.Visit, "then_id", values["then_id"], "job")
    least, most = values["min_days"], values["max_days"]
    if first.id == then.id:
        raise BadInput("then_id", "must be another visit than the one that goes first")
    if most is not None and most < least:
        raise BadInput("max_days", f"must not be fewer than the least ({least}), is {most}")
    if session.get(tables.VisitFollows, (first.id, then.id)) is None:  # one that stands may outlive its visits
        if then.state != "open":
            raise BadInput("then_id", f"{then.id} is done or cancelled: it waits for nothing any more")
        if first.state == "cancelled":
            raise BadInput("first_id", f"{first.id} is cancelled: nothing can come after it")
    _refuse_circle(session, first.id, then.id)


def _no_circle_yet(session: Session, row: Any, values: Values, by: str, now: datetime.datetime) -> None:
    """Look once more, one at a time: of two who close a circle together each has seen none before."""
    one_at_a_time(session, Turn.ORDER_VISITS)
    try:
        _refuse_circle(session, row.first_id, row.then_id)
    except BadInput as fault:
        raise BadValues([(fault.where, fault.problem)]) from None


def _refuse_circle(session: Session, first_id: str, then_id: str) -> None:
    if way := _way(session, then_id, first_id):
        raise BadInput("then_id", f"{first_id} comes after {then_id} already ({' → '.join(way)}): take that away first")


def _way(session: Session, first_id: str, last_id: str) -> list[str]:
    """Return the visits by which `last_id` comes after `first_id`, both among them; empty where it does not."""
    row = tables.VisitFollows
    came: dict[str, str] = {first_id: ""}
    found = [first_id]
    while found and last_id not in came:
        steps = session.exec(select(row).where(col(row.first_id).in_(found)).order_by(row.first_id, row.then_id)).all()
        found = []
        for step in steps:
            if step.then_id not in came:
                came[step.then_id] = step.first_id
                found.append(step.then_id)
    way, at = list[str](), last_id if last_id in came else ""
    while at:
        way.insert(0, at)
        at = came[at]
    return way


def _awning_there(session: Session, key: str | None, values: Values) -> None:
    known(session, tables.Awning, "awning_id", values["awning_id"], "awning")


def _month(text: str, _: str) -> int:
    """Return the month that a text means: its name, the beginning of it, or its number."""
    found = [
        n for n, (name, _) in enumerate(MONTHS, 1) if len(text) > 2 and name.casefold().startswith(text.casefold())
    ]
    return found[0] if found else int(limit("yearly_service.month").parse(text))


def _job(table: str, name: str, label: str, **more: Any) -> KindColumn:
    bound = limit(f"{table}.{name}")
    return KindColumn(name, label, lambda text, _: bound.parse(job_said(text)), hint={"maxlength": "80"}, **more)


def job_said(text: str) -> str:
    """Return a job's number as it is kept, J-1048, of one as it is said or written: 1048, j 1048, J1048."""
    found = _SAID.fullmatch(text.strip())
    return f"J-{found[1]}" if found else text


OF_WORK = (
    Kind("work-kinds", "Kinds of work", "kind of work", tables.WorkKind,
         "What is done at a visit: its steps, and what it takes. Prices, task times and limits of weather are those of "
         "what it counts as.", (
        plain("work_kind", "id", "Short name", meaning="short, as files say it, such as new-cloth; it stays as it is"),
        plain("work_kind", "name", "Name", meaning="as lists and crews read it, such as new cloth"),
        plain("work_kind", "counts_as", "Counts as", start="repair",
              meaning="its prices, weather limits and, where no minutes stand below, its task times"),
        plain("work_kind", "told", "Customers read", meaning="as in: your new awning cloth on Monday, April 12",
              short_list=False, wide=True),
        several("work_kind", "steps", "Steps", MOST_STEPS, short_list=False,
                meaning="what the crew signs, a line each; in files with semicolons between"),
        plain("work_kind", "minutes", "Minutes", may_be_empty=True, meaning="empty: by the task times"),
        plain("work_kind", "hands", "People", start="1", meaning="at least so many"),
        listed("work_kind", "skills", "Skills", meaning="small letters, blanks between, such as electrician",
               short_list=False),
        counted("work_kind", "tools", "Tools", meaning="beside the ladder, such as scaffold: 1", short_list=False),
        counted("work_kind", "parts", "Parts", of="stock_item.item", short_list=False,
                meaning="of the yard's shelf, such as wall-cap: 2; set aside on it for posted weeks, and taken off it"),
        switch("carries", "Awning rides along", False, meaning="its weight and box count on the van", short_list=False),
        switch("drawing", "Surveyed wall first", False, meaning="it waits until the wall has been surveyed",
               short_list=False),
        switch("kit", "Maker's order first", False, short_list=False,
               meaning="it waits until what was ordered of the maker for its awning has come"),
        switch("outside", "Outside", True, meaning="no: neither weather nor daylight matters", short_list=False),
        plain("work_kind", "wind_mph", "Wind up to, mph", may_be_empty=True, short_list=False,
              meaning="stricter than what it counts as; empty: as that"),
        switch("dry", "Dry only", False, meaning="yes: no rain at all", short_list=False),
        KindColumn("rack", "Awning and rack", lambda text, _: limit("work_kind.rack").parse(text), choices=RACK,
                   may_be_empty=True, empty="", short_list=False),
        switch("takes_away", "Awning is gone after it", False, short_list=False,
               meaning="yes: its yearly services end, and their visits are called off"),
        switch("active", "Offered", True, meaning="no: new jobs are not of this kind any more"),
    ), check=_check_kind, users={
        "visits": tables.Visit.work_id, "kinds of work": tables.WorkKind.counts_as,
        "usual gates": tables.GateRule.kind, "yearly services": tables.YearlyService.work_id,
    }),
    Kind("callbacks", "Callbacks", "callback", tables.CalledBack,
         "Which visit a callback comes back to, why, and who bears its cost.", (
        _job("callback", "visit_id", "Callback", meaning="its number, such as J-1204", owner=True),
        _job("callback", "of_id", "Of the visit", meaning="the one that it comes back to, such as J-1042"),
        plain("callback", "why", "Why", wide=True),
        plain("callback", "at_cost", "At whose cost", choices=COST, start="ours"),
    ), key=("visit_id",), check=_check_callback, put=_tell_crew),
    Kind("follow-ons", "Follow-on visits", "follow-on", tables.VisitFollows,
         "Which visit comes after which other one: an electrician first, the second day of a long job.", (
        _job("visit_follows", "first_id", "First", meaning="the job that goes first, such as J-1042", owner=True),
        _job("visit_follows", "then_id", "Then follows", meaning="the job that comes after it, such as J-1204",
             aliases=("then",)),
        plain("visit_follows", "min_days", "Days later, at least", start="1",
              meaning="counted as on the calendar; 0: the same day will do, with the same crew"),
        plain("visit_follows", "max_days", "Days later, at most", may_be_empty=True,
              meaning="1 with 1 as the least: the very next day; empty: any number"),
        switch("same_crew", "Same crew", False, meaning="yes: the crew that does the one does the other"),
    ), key=("first_id", "then_id"), check=_check_follow, put=_no_circle_yet,
         fixed=("first_id", "then_id")),
    Kind("racks", "Awnings stored", "stored awning", tables.StoredAwning,
         "Where in which yard an awning lies over the winter.", (
        awning_column("stored_awning", owner=True),
        names("yard_id", "Yard", "yards", aliases=("where", "depot", "location", "warehouse")),
        plain("stored_awning", "rack", "Rack", meaning="as the tag says it, such as B-4",
              aliases=("rack place", "place", "shelf")),
        plain("stored_awning", "state", "State", choices=STATES, start="kept",
              meaning="follows by itself when a crew takes it down or hangs it again", aliases=("status",)),
        day("stored_awning", "since", "Since", may_be_empty=True, aliases=("stored since", "date", "stored on")),
        plain("stored_awning", "note", "Note", wide=True, aliases=("notes", "remarks")),
    ), key=("awning_id",), check=_check_rack),
    Kind("yearly", "Yearly services", "yearly service", tables.YearlyService,
         "What comes back every year; its visits are made by themselves.", (
        awning_column("yearly_service", owner=True),
        names("work_id", "Kind of work", "work-kinds"),
        KindColumn("month", "Every", _month, lambda value, _: calendar.month_name[value], choices=MONTHS,
                   start="October", meaning="its visit is due at the end of the month, and not before it begins"),
        plain("yearly_service", "weeks_ahead", "Made weeks ahead", start="8",
              meaning="so many weeks before the month begins"),
        switch("active", "Goes on", True, meaning="no: it has been stopped"),
        plain("yearly_service", "note", "Note", meaning="what each of its visits says", wide=True),
    ), key=("awning_id", "work_id", "month"), made_id=True, check=_awning_there,
         users={"visits that it has made": tables.YearlyVisit.service_id}),
)  # fmt: skip


def offered(session: Session, now: str = "") -> list[tuple[str, str]]:
    """Return the kinds of work that a job can be of, as (id, name), the usual ones first; `now`: what it is already."""
    row = tables.WorkKind
    rows = session.exec(select(row).where(sa.or_(col(row.active).is_(True), col(row.id) == now))).all()
    first = {kind: n for n, kind in enumerate(KINDS)}
    order = sorted(rows, key=lambda kind: (first.get(kind.id, len(first)), kind.name, kind.id))
    return [(kind.id, kind.name) for kind in order]
