"""The words of a message: what a customer reads of a visit, in plain terms."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import clock, feet, long_date
from api.ledger.plans.days import by_id
from scheduler.price import RETIME_FROM_MIN

if TYPE_CHECKING:
    pass


Spot = Mapping[str, Any]  # crew, date (ISO), start, end, hold


# Why, in terms that the customer understands.
WHY = {
    "short": "A part for your awning was not in the delivery, and we begin only when everything is there.",
    "weather": "The weather forecast for the time that we had named does not allow safe work on ladders.",
    "crew away": "Someone in the crew that was to come cannot work that day.",
    "customer": "As you asked, we have looked for another time.",
    "other": "We have had to change our week.",
    "moved": "Another visit had to be moved, and yours with it.",
    "": "",
}


def arrival(spot: Spot) -> str:
    """Return when the crew arrives, in words: to the minute where that was promised, else half an hour either way."""
    start = int(spot["start"])
    if spot["hold"] == "firm":
        return f"at {clock(start)}"
    early, late = (start - RETIME_FROM_MIN) // 5 * 5, -(-(start + RETIME_FROM_MIN) // 5) * 5
    return f"between {clock(early)} and {clock(late)}"


def words(session: Session, visit_id: str, spot: Spot | None, *, before: Spot | None, why: str) -> tuple[str, str]:
    """Return subject and body of a message."""
    visit, site, customer, awning = by_id(session)(visit_id)
    business = session.get_one(tables.Business, 1)
    what = visit.work.told
    sized = f"{what} ({feet(awning.width_mm)})" if awning is not None and visit.kind == "install" else what
    place = f"{site.address}, {site.town}"
    old = None if before is None else datetime.date.fromisoformat(before["date"])
    old_words = "" if before is None or old is None else f"{long_date(old)}, {clock(int(before['start']))}"
    if spot is None:
        subject = f"{business.name}: your {what} has to wait"
        first = f"We cannot come for your {sized} at {place} on {old_words or 'the day that we had in mind'}."
        after = "We will call you with a new time as soon as we have one."
        todo = "You need do nothing now; keep the day free no longer."
        file = "The attached file takes the visit out of your calendar." if before is not None else ""
    else:
        date = datetime.date.fromisoformat(spot["date"])
        lasts = _lasting(int(spot["end"]) - int(spot["start"]))
        when = f"{long_date(date)}, and arrive {arrival(spot)}"
        if before is None:
            subject = f"{business.name}: your {what} on {long_date(date)}"
            first = f"We come for your {sized} at {place} on {when}."
        else:
            subject = f"{business.name}: a new time for your {what}"
            first = f"We come for your {sized} at {place} on {when}, and not on {old_words} as you were told."
        after = f"The work takes about {lasts}."
        todo = "If this suits you, you need do nothing; if it does not, please call us by the day before."
        file = "The attached file puts the visit into your calendar, or corrects the entry that is there."
    name, phone = _office(session)
    call = f"Call {name}{f' on {phone}' if phone else ''}."
    told = f"{first} {WHY[why]} {after}"
    if before is not None and why != "customer":  # a promise is not kept
        told = f"{_sorry(WHY[why])} {first} {after}"
    lines = [f"Dear {customer.name},", "", told.replace("  ", " ")]
    lines += ["", f"{todo} {call}", *(["", file] if file else []), "", name, business.name, ""]
    return subject, "\n".join(lines)


def _sorry(why: str) -> str:
    """Return how a message begins that takes a promise back."""
    return f"We are sorry: {why[0].lower()}{why[1:]}" if why else "We are sorry that our plans have changed."


def late_words(session: Session, visit_id: str, spot: Spot, expected: int) -> tuple[str, str]:
    """Return subject and body of a message that says, on the day, that the crew will come at the minute `expected`."""
    visit, site, customer, awning = by_id(session)(visit_id)
    business = session.get_one(tables.Business, 1)
    what = visit.work.told
    sized = f"{what} ({feet(awning.width_mm)})" if awning is not None and visit.kind == "install" else what
    name, phone = _office(session)
    date = datetime.date.fromisoformat(spot["date"])
    lines = [
        f"Dear {customer.name},",
        "",
        f"We are sorry to keep you waiting: our crew is running late today, {long_date(date)}. You expect us for your"
        f" {sized} at {site.address}, {site.town}, {arrival(spot)}; we will be there at about {clock(expected)}.",
        "",
        "If that suits you, you need do nothing. If it does not, please call us and we will find another time."
        f" Call {name}{f' on {phone}' if phone else ''}.",
        "",
        name,
        business.name,
        "",
    ]
    return f"{business.name}: we will be with you at about {clock(expected)} today", "\n".join(lines)


def _office(session: Session) -> tuple[str, str]:
    """Return name and telephone of who answers calls: the first of the office's people, by the office's own number."""
    number = session.get_one(tables.Business, 1).phone
    people = select(tables.Person).where(tables.Person.role == "office", col(tables.Person.active).is_(True))
    person = session.exec(people.order_by(col(tables.Person.id))).first()
    return ("the office", number) if person is None else (person.name, number or person.phone)


def _lasting(minutes: int) -> str:
    halves = max(1, round(minutes / 30))
    if halves == 1:
        return "half an hour"
    whole, half = divmod(halves, 2)
    return f"{whole}{' and a half' if half else ''} hour{'' if (whole, half) == (1, 0) else 's'}"
