"""The words of a message: what a customer reads of a visit, in plain terms."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from sqlmodel import Session, col, select

from api import tables
from api.fields.addresses.mail import is_address
from api.fields.shown import clock, feet, long_date
from api.fields.wording import wording
from api.languages import ENGLISH, gettext, ngettext, speaking, to_say
from api.ledger.languages import language_of_customer
from api.ledger.plans.days import by_id
from api.ledger.told import window_told

Spot = Mapping[str, Any]  # crew, date (ISO), start, end, hold

# Why, in terms that the customer understands.
WHY = {
    "short": to_say("A part for your awning was not in the delivery, and we begin only when everything is there."),
    "weather": to_say("The weather forecast for the time that we had named does not allow safe work on ladders."),
    "crew away": to_say("Someone in the crew that was to come cannot work that day."),
    "customer": to_say("As you asked, we have looked for another time."),
    "other": to_say("We have had to change our week."),
    "moved": to_say("Another visit had to be moved, and yours with it."),
    "": "",
}


class MessageWords(NamedTuple):
    """A message in words: a letter with its subject, and `text`, the same in a few lines for a telephone."""

    subject: str
    body: str
    text: str


def written(session: Session, visit_id: str, say: Callable[[], MessageWords]) -> dict[str, Any]:
    """Return what `say` gives in the language of a visit's customer, and whom it goes to, by column of a message.

    `english` is the same for the office, empty where it is in English.
    """
    _, _, customer, _ = by_id(session)(visit_id)
    code = language_of_customer(session, customer)
    with speaking(code):
        said = say()
    english = ""
    if code != ENGLISH:
        with speaking(ENGLISH):
            english = "\n\n".join(say()[:2])
    return {
        **said._asdict(), "language": code, "english": english, "to_name": customer.name, "to_phone": customer.phone,
        "to_email": customer.email if is_address(customer.email) else "",
    }  # fmt: skip


def arrival(spot: Spot) -> str:
    """Return when the crew arrives, in words: to the minute where that was promised, else half an hour either way."""
    start = int(spot["start"])
    if spot["hold"] == "firm":
        return ngettext("at {time}", "at {time}", _hour(start)).format(time=clock(start))
    early, late = window_told(start)
    return gettext("between {early} and {late}").format(early=clock(early), late=clock(late))


def _hour(minutes: int) -> int:
    """Return the hour as it is said: one o'clock is the only one that is one."""
    return minutes // 60 if wording().clock == "24" else (minutes // 60 + 11) % 12 + 1


def words(session: Session, visit_id: str, spot: Spot | None, *, before: Spot | None, why: str) -> MessageWords:
    """Return a message in words, in the language spoken."""
    visit, site, customer, awning = by_id(session)(visit_id)
    business, _ = session.get_one(tables.Business, 1), gettext
    said = {"business": business.name, "what": _(visit.work.told), "place": f"{site.address}, {site.town}"}
    said["sized"] = _sized(visit, awning)
    if before is not None:
        old = datetime.date.fromisoformat(before["date"])
        said["old"] = f"{long_date(old)}, {clock(int(before['start']))}"
    if spot is None:
        subject = _("{business}: your {what} has to wait")
        first = (
            _("We cannot come for your {sized} at {place} on the day that we had in mind.")
            if before is None
            else _("We cannot come for your {sized} at {place} on {old}.")
        )
        after = _("We will call you with a new time as soon as we have one.")
        todo = _("There is nothing you need to do now, and no need to keep that day free.")
        file = _("The attached file takes the visit out of your calendar.") if before is not None else ""
    else:
        said["date"] = long_date(datetime.date.fromisoformat(spot["date"]))
        said["arrival"], said["lasts"] = arrival(spot), _lasting(int(spot["end"]) - int(spot["start"]))
        if before is None:
            subject = _("{business}: your {what} on {date}")
            first = _("We will come for your {sized} at {place} on {date}, and arrive {arrival}.")
        else:
            subject = _("{business}: a new time for your {what}")
            first = _(
                "We will come for your {sized} at {place} on {date}, and arrive {arrival}, and not on {old} as you "
                "were told."
            )
        after = _("The work takes about {lasts}.")
        todo = _(
            "If this works for you, there is nothing you need to do; if it does not, please call us by the day before."
        )
        file = _("The attached file puts the visit into your calendar, or corrects the entry that is there.")
    reason = _(WHY[why]) if why else ""
    told = f"{first} {reason} {after}"
    if before is not None and why != "customer":  # a promise is not kept
        told = f"{_sorry(reason)} {first} {after}"
    return _said(session, customer, subject.format(**said), told.format(**said).replace("  ", " "), todo, file)


def _said(
    session: Session, customer: tables.Customer, subject: str, told: str, todo: str, file: str = ""
) -> MessageWords:
    """Return a letter, and the text message of the same: what is told, what to do, whom to call; `file` comes along."""
    business = session.get_one(tables.Business, 1).name
    name, call = _office(session)
    greeting = gettext("Dear {name},").format(name=customer.name)
    lines = [greeting, "", told, "", f"{todo} {call}", *(["", file] if file else []), "", name, business, ""]
    return MessageWords(subject, "\n".join(lines), f"{business}: {told} {todo} {call}")


def _sized(visit: tables.Visit, awning: tables.Awning | None) -> str:
    what = gettext(visit.work.told)
    return f"{what} ({feet(awning.width_mm)})" if awning is not None and visit.kind == "install" else what


def _sorry(why: str) -> str:
    """Return how a message begins that takes a promise back."""
    if not why:
        return gettext("We are sorry that our plans have changed.")
    return gettext("We are sorry: {why}").format(why=f"{why[0].lower()}{why[1:]}")


def late_words(session: Session, visit_id: str, spot: Spot, expected: int) -> MessageWords:
    """Return a message that says, on the day, that the crew will come at the minute `expected`."""
    visit, site, customer, awning = by_id(session)(visit_id)
    business, _ = session.get_one(tables.Business, 1), gettext
    about = ngettext("at about {time}", "at about {time}", _hour(expected)).format(time=clock(expected))
    late = _(
        "We are sorry to keep you waiting: our crew is running late today, {date}. You are expecting us for your "
        "{sized} at "
        "{place}, {arrival}; we will be there {about}."
    ).format(
        date=long_date(datetime.date.fromisoformat(spot["date"])), sized=_sized(visit, awning),
        place=f"{site.address}, {site.town}", arrival=arrival(spot), about=about,
    )  # fmt: skip
    todo = _(
        "If that works for you, there is nothing you need to do. If it does not, please call us and we will find "
        "another time."
    )
    subject = _("{business}: we will be with you {about} today").format(business=business.name, about=about)
    return _said(session, customer, subject, late, todo)


def reminder_words(session: Session, visit_id: str, spot: Spot) -> MessageWords:
    """Return a message that reminds of a time that was told, some days before."""
    visit, site, customer, awning = by_id(session)(visit_id)
    business, _ = session.get_one(tables.Business, 1), gettext
    said = {"business": business.name, "what": _(visit.work.told), "sized": _sized(visit, awning),
            "place": f"{site.address}, {site.town}", "arrival": arrival(spot),
            "date": long_date(datetime.date.fromisoformat(spot["date"]))}  # fmt: skip
    first = _("A reminder: we are coming for your {sized} at {place} on {date}, and arrive {arrival}.").format(**said)
    todo = _("There is nothing you need to do. If something has come up, please call us today.")
    return _said(session, customer, _("{business}: a reminder of your {what} on {date}").format(**said), first, todo)


def rain_date_words(session: Session, row: tables.RainDate) -> MessageWords:
    """Return a message that says which second day is kept should the weather take the first."""
    _ = gettext
    spot = {"start": row.start, "hold": "day"}
    kept = _(
        "If the weather does not allow safe work on {first} for your {sized} at {place}, we will come on {date} "
        "instead, and arrive {arrival}. We keep that time free for you."
    )
    todo = _(
        "There is nothing you need to do: we will call you as soon as we know. If the second day does not work for "
        "you, please call us."
    )
    return _of_rain_date(session, row, _("{business}: a rain date for your {what}"), kept, todo, arrival(spot))


def no_rain_date_words(session: Session, row: tables.RainDate) -> MessageWords:
    """Return a message that says that a second day is not kept any more."""
    _ = gettext
    gone = _("We no longer keep {date} free as a second day for your {sized} at {place}. {first} stays as it is.")
    todo = _("There is nothing you need to do. If the weather takes that day, we will call you with another one.")
    return _of_rain_date(session, row, _("{business}: no rain date for your {what}"), gone, todo, "")


def gone_by_words(
    session: Session, row: tables.RainDate, first: datetime.date, kept: datetime.date | None
) -> MessageWords:
    """Return a message that says sorry: nobody came on the day named first, nor on the second day `kept`, if any."""
    _ = gettext
    sorry = (
        _("We are sorry that we have not come for your {sized} at {place}: neither on {first}, nor on {date}, the day "
          "that we kept for you should the weather be bad.")
        if kept is not None
        else _("We are sorry that we did not come for your {sized} at {place} on {first}.")
    )  # fmt: skip
    told = f"{sorry} {_('We will call you with a new time as soon as we have one.')}"
    todo = _("There is nothing you need to do now.")
    return _of_rain_date(session, row, _("{business}: your {what} has to wait"), told, todo, "", first)


def _of_rain_date(
    session: Session, row: tables.RainDate, subject: str, told: str, todo: str, arrives: str,
    first: datetime.date | None = None,
) -> MessageWords:  # fmt: skip
    visit, site, customer, awning = by_id(session)(row.visit_id)
    business, _ = session.get_one(tables.Business, 1), gettext
    said = {"business": business.name, "what": _(visit.work.told), "sized": _sized(visit, awning),
            "place": f"{site.address}, {site.town}", "arrival": arrives, "date": long_date(row.day),
            "first": long_date(first or row.first_day)}  # fmt: skip
    return _said(session, customer, subject.format(**said), told.format(**said), todo)


def _office(session: Session) -> tuple[str, str]:
    """Return who answers calls, the first of the office's people, and how to call: by the office's own number."""
    number = session.get_one(tables.Business, 1).phone
    people = select(tables.Person).where(tables.Person.role == "office", col(tables.Person.active).is_(True))
    person = session.exec(people.order_by(col(tables.Person.id))).first()
    name, phone = (gettext("the office"), number) if person is None else (person.name, number or person.phone)
    call = gettext("Call {name} on {phone}.") if phone else gettext("Call {name}.")
    return name, call.format(name=name, phone=phone)


def _lasting(minutes: int) -> str:
    halves = max(1, round(minutes / 30))
    if halves == 1:
        return gettext("half an hour")
    whole, half = divmod(halves, 2)
    if half:
        return ngettext("{n} and a half hours", "{n} and a half hours", whole).format(n=whole)
    return ngettext("{n} hour", "{n} hours", whole).format(n=whole)
