"""Contacts (vCard) as customers and calendars (iCalendar) as days off: looked through before anything is taken."""

from __future__ import annotations

import datetime

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.service.cast import for_pages
from tests.service.exchange.test_work_files import STREETS
from tests.service.office.test_set_up import keep_file, text_of

CARDS = """BEGIN:VCARD
VERSION:4.0
FN:Zoë Marsh
N:Marsh;Zoë;;;
TEL;VALUE=uri;TYPE=home:tel:+1-555-555-0299
TEL;VALUE=uri;TYPE=cell:tel:+1-555-555-0201
EMAIL:zoe@example.org
ADR;TYPE=home:;;9 Mill Lane;Tallow Bend;NE;68000;USA
NOTE:dog\\, big
END:VCARD
BEGIN:VCARD
VERSION:3.0
ORG:Fen Hotel;Kitchen
item1.ADR;TYPE=WORK:;Suite 4;12 Quarry Road;Marl;NE;68000;USA
TEL;TYPE=WORK,FAX:555 0203
TEL;TYPE=WORK,VOICE:555 0202
END:VCARD
BEGIN:VCARD
VERSION:3.0
FN:
N:;;;;
EMAIL:nobody@example.org
END:VCARD
""".replace("\n", "\r\n")

# Thursdays at nine in New York are at eight here, before and after clocks change; the third one was moved to noon.
CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//test//EN
BEGIN:VEVENT
UID:school
DTSTART;TZID=America/New_York:20270304T090000
DTEND;TZID=America/New_York:20270304T110000
RRULE:FREQ=WEEKLY;UNTIL=20270401T230000Z
EXDATE;TZID=America/New_York:20270311T090000
SUMMARY:school run
END:VEVENT
BEGIN:VEVENT
UID:school
RECURRENCE-ID;TZID=America/New_York:20270318T090000
DTSTART;TZID=America/New_York:20270318T140000
DTEND;TZID=America/New_York:20270318T150000
SUMMARY:school run\\, later
END:VEVENT
BEGIN:VEVENT
UID:lake
DTSTART;VALUE=DATE:20270322
DTEND;VALUE=DATE:20270325
SUMMARY:at the lake
CLASS:PRIVATE
END:VEVENT
BEGIN:VEVENT
UID:choir
DTSTART:20270303T013000Z
DTEND:20270303T030000Z
RRULE:FREQ=WEEKLY
SUMMARY:choir in the evening
END:VEVENT
BEGIN:VEVENT
UID:reminder
DTSTART;VALUE=DATE:20270310
TRANSP:TRANSPARENT
SUMMARY:birthday
END:VEVENT
END:VCALENDAR
""".replace("\n", "\r\n")


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    app.state.clock = lambda: datetime.datetime(2027, 3, 1, 15, tzinfo=datetime.UTC)
    return for_pages(app, Role.office)


def send(client: TestClient, kind: str, name: str, text: str, **form: str) -> tuple[int, str]:
    """Send a file and return the status with the address of its page, or with the words of the refusal."""
    files = {"file": (name, text.encode())}
    answer = client.post(f"/set-up/{kind}/files", files=files, data=form, follow_redirects=False)
    return answer.status_code, answer.headers.get("location") or text_of(answer.text)


def test_contacts_become_customers_with_phone_mail_and_address(app: FastAPI, office: TestClient) -> None:
    office.post("/places/addresses", files={"file": ("streets.csv", STREETS.encode())})
    status, address = send(office, "customers", "phone.vcf", CARDS)
    assert status == 303, address
    page = text_of(office.get(address).text)
    assert "3 rows: 2 new, 0 changed, 0 as they are, 1 refused." in page, page
    keep_file(office, address)
    with transaction(app.state.database) as session:
        zoe, hotel = session.exec(select(tables.Customer).order_by(col(tables.Customer.id))).all()
        assert (zoe.name, zoe.phone, zoe.email) == ("Zoë Marsh", "+1-555-555-0201", "zoe@example.org")
        assert zoe.note == "dog, big; also +1-555-555-0299"
        assert (hotel.name, hotel.phone) == ("Fen Hotel", "555 0202")
        sites = session.exec(select(tables.Site.address).order_by(col(tables.Site.id))).all()
        assert list(sites) == ["9 Mill Lane", "12 Quarry Road Suite 4"]
    _, address = send(office, "customers", "phone.vcf", CARDS)
    assert "0 new, 0 changed, 2 as they are, 1 refused." in text_of(office.get(address).text)
    status, words = send(office, "people", "phone.vcf", CARDS)
    assert (status, "phone.vcf holds contacts: send it on the page Customers" in words) == (422, True), words
    status, words = send(office, "customers", "phone.vcf", "BEGIN:VCARD\r\nFN:half of a car")
    assert (status, "phone.vcf cannot be read as contacts" in words) == (422, True), words


def test_busy_times_of_a_calendar_become_days_off_in_working_hours(app: FastAPI, office: TestClient) -> None:
    status, words = send(office, "days-off", "lea.ics", CALENDAR)
    assert (status, "lea.ics is a calendar: choose whose calendar it is" in words) == (422, True), words
    status, address = send(office, "days-off", "lea.ics", CALENDAR, whose="lead-1")
    assert status == 303, address
    assert "5 rows: 5 new" in text_of(office.get(address).text)
    keep_file(office, address)
    with transaction(app.state.database) as session:
        rows = session.exec(select(tables.DayOff).order_by(col(tables.DayOff.first))).all()
        told = [(str(row.first), str(row.last), row.part, row.why) for row in rows if row.person_id == "lead-1"]
    assert told == [
        ("2027-03-04", "2027-03-04", "morning", "school run"),
        ("2027-03-18", "2027-03-18", "afternoon", "school run, later"),
        ("2027-03-22", "2027-03-24", "day", "busy"),
        ("2027-03-25", "2027-03-25", "morning", "school run"),
        ("2027-04-01", "2027-04-01", "morning", "school run"),
    ]
    _, address = send(office, "days-off", "lea.ics", CALENDAR, whose="lead-1")
    assert "0 new, 0 changed, 5 as they are, 0 refused." in text_of(office.get(address).text)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("DTSTART:20270304T090000\r\nRRULE:FREQ=SECONDLY\r\n", "it repeats more often than once a day"),
        ("DTSTART;VALUE=DATE:20200101\r\n", "names no busy time from today on"),
        ("DTSTART:20270304T090000\r\nRRULE:FREQ=SOMETIMES\r\n", "cannot be read"),
    ],
)
def test_a_calendar_that_says_nothing_usable_is_refused_in_one_sentence(
    office: TestClient, body: str, words: str
) -> None:
    text = f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nSUMMARY:odd\r\n{body}END:VEVENT\r\nEND:VCALENDAR\r\n"
    status, told = send(office, "days-off", "odd.ics", text, whose="crew north-1")
    assert (status, words in told) == (422, True), told
