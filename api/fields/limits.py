"""What a value may be, column by column: the one table that JSON, forms, files and the JSON schema read.

    storeys: Annotated[int, limit("site.storeys")] = 1        # in the body of a JSON route
    row.value("storeys", limit("site.storeys"))               # in the reader of a table that comes as a file
    <input name="storeys" {{ held_to("site.storeys") }}>      # on a page

A value that cannot stand is refused with the same sentence whichever way it came. No limit is wider than what the week
document takes, so that whatever is accepted can be planned.
"""

from __future__ import annotations

from dataclasses import replace
from urllib.parse import urlsplit

from api.fields.addresses.mail import is_address
from api.fields.column_limits import Choice, ColumnLimit, Date, Decimal, Text, Whole
from api.fields.shown import DAY_MIN
from api.languages import LANGUAGES


def _web(text: str) -> bool:
    """Whether a text is an address that a program can be told at: plain letters, with a host, and no name in it."""
    try:
        parts = urlsplit(text)
        return (
            parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0 and "@" not in parts.netloc
        )
    except ValueError:  # of a port, or of brackets
        return False


def _account(text: str) -> bool:
    return all(letter.isalnum() or letter in ".-_" for letter in text)


ID = Text(
    most=80, least=1, pattern=r"(?!\.)[^\/\\?#%\n\r\t]*", words="must not begin with a dot nor hold any of / \\ ? # %"
)  # fmt: skip
NAME = Text(most=120, least=1)
NOTE = Text(most=2000, lines=True)
PHONE = Text(most=40)
EMAIL = Text(most=120, fits=is_address, words="must be an e-mail address such as office@example.org")
FIELD = Text(most=40, least=1, pattern="[A-Za-z_][A-Za-z0-9_.-]*", words="must be the name of a field such as text")
SKILL = Text(
    most=40, least=1, pattern="[a-z][a-z-]{0,39}", words="must be small letters with dashes between, such as roof-mount"
)  # fmt: skip
WHY = Text(most=200, least=1)
PASSWORD = Text(least=12, most=128)  # as it is typed; the column keeps its hash
DAY = Date()
KIND = Choice(of=("install", "survey", "repair"))
STATE = Choice(of=("open", "done", "cancelled"))
SIDE = Choice(of=("left", "right"))
HOLD = Choice(of=("firm", "day", "soft"))
ROLE = Choice(of=("lead", "helper", "extra", "office"))
LANGUAGE = Choice(of=("", *LANGUAGES))
DAY_PART = Choice(of=("day", "morning", "afternoon"))
MONEY = Whole(most=100_000_000)  # cents: a million dollars
RATE, KM_RATE = Whole(most=1_000_000), Decimal(most=1_000_000)  # cents a minute; a km: by the mile no whole ones
PIECES = Whole(most=1_000_000)
SOME = Whole(least=1, most=10_000)
LATITUDE, LONGITUDE = Decimal(least=-90, most=90), Decimal(least=-180, most=180)
WEEKDAY = Whole(most=6)
MINUTE = Whole(most=DAY_MIN)

# "table.column", the names of `api.tables`. What nobody types (numbers of rows, moments, versions) has no limit here.
LIMITS: dict[str, ColumnLimit] = {
    "yard.id": ID, "yard.name": NAME, "yard.lat": LATITUDE, "yard.lon": LONGITUDE,
    "yard.address": Text(most=200),
    "person.id": ID, "person.name": NAME, "person.yard_id": ID, "person.role": ROLE, "person.phone": PHONE,
    "person.skills": SKILL, "person.day_cents": MONEY, "person.language": LANGUAGE,
    "person.weekly_hours": Whole(least=1, most=168),
    "person.weekdays": Text(most=7, pattern="0?1?2?3?4?5?6?",
                            words="must be weekdays in order, 0 for Monday, such as 01234"),
    "day_off.person_id": ID, "day_off.first": DAY, "day_off.last": DAY, "day_off.part": DAY_PART,
    "day_off.why": WHY,
    "van.id": ID, "van.yard_id": ID, "van.payload_kg": Whole(most=20_000), "van.rack_mm": Whole(most=20_000),
    "van.boxes": Whole(most=50), "van.onboard": Whole(least=1, most=50),
    "van_out.van_id": ID, "van_out.first": DAY, "van_out.last": DAY, "van_out.why": WHY,
    "crew.id": ID, "crew.name": NAME, "crew.yard_id": ID, "crew.lead_id": ID, "crew.helper_id": ID, "crew.van_id": ID,
    "crew.day_cents": MONEY, "crew.minute_cents": RATE, "crew.overtime_minute_cents": RATE, "crew.km_cents": KM_RATE,
    "crew.visit_cents": MONEY,
    "crew_hours.weekday": WEEKDAY, "crew_hours.start": MINUTE, "crew_hours.end": MINUTE,
    "crew_hours.overtime": Whole(most=600),
    "equipment.id": ID, "equipment.kind": ID, "equipment.yard_id": ID, "equipment.name": NAME,
    "equipment.checked_on": DAY,
    "out_of_service.equipment_id": ID, "out_of_service.first": DAY, "out_of_service.last": DAY,
    "out_of_service.why": WHY,
    "stock_item.item": NAME, "stock_item.yard_id": ID, "stock_item.name": NAME, "stock_item.on_hand": PIECES,
    "stock_item.counted_on": DAY,
    "delivery.item": NAME, "delivery.yard_id": ID, "delivery.quantity": Whole(least=1, most=1_000_000),
    "delivery.due_on": DAY,
    "customer.id": ID, "customer.name": NAME, "customer.phone": PHONE, "customer.email": EMAIL, "customer.note": NOTE,
    "customer.language": LANGUAGE,
    "site.id": ID, "site.customer_id": ID, "site.town": NAME, "site.address": Text(most=200, least=1),
    "site.lat": LATITUDE, "site.lon": LONGITUDE, "site.storeys": Whole(least=1, most=50),
    "site.built": Whole(least=1500, most=2100), "site.access": NOTE,
    "sales_order.id": ID, "sales_order.customer_id": ID, "sales_order.site_id": ID, "sales_order.ordered_on": DAY,
    "sales_order.state": STATE, "sales_order.note": NOTE,
    "awning.id": ID, "awning.order_id": ID, "awning.model": NAME, "awning.width_mm": Whole(least=500, most=20_000),
    "awning.projection_mm": Whole(least=200, most=10_000), "awning.weight_kg": Whole(least=1, most=2_000),
    "awning.box_mm": Whole(least=1, most=20_000), "awning.boxes": Whole(least=1, most=20), "awning.motor": SIDE,
    "awning.cloth": Text(most=120), "awning.yard_id": ID, "awning.arrives_on": DAY,
    "awning_model.id": NAME, "awning_model.maker": Text(most=120), "awning_model.boxes": Whole(least=1, most=20),
    "awning_model.box_over_mm": Whole(most=5_000), "awning_model.motor": SIDE,
    "model_size.model_id": NAME, "model_size.width_mm": Whole(least=500, most=20_000),
    "model_size.projection_mm": Whole(least=200, most=10_000), "model_size.weight_kg": Whole(least=1, most=2_000),
    "model_size.arms": Whole(most=20), "model_size.brackets": Whole(least=1, most=50),
    "model_part.model_id": NAME, "model_part.item": NAME, "model_part.quantity": SOME,
    "model_part.per": Choice(of=("awning", "arm", "bracket")),
    "maker_part.awning_id": ID, "maker_part.item": NAME, "maker_part.quantity": SOME,
    "site_survey.id": ID, "site_survey.site_id": ID, "site_survey.awning_id": ID, "site_survey.visit_id": ID,
    "site_survey.surveyed_on": DAY, "site_survey.surveyed_by": NAME, "site_survey.uncertain": NOTE,
    "visit.id": ID, "visit.kind": KIND, "visit.site_id": ID, "visit.order_id": ID, "visit.awning_id": ID,
    "visit.state": STATE, "visit.due_on": DAY, "visit.minutes": Whole(least=1, most=DAY_MIN),
    "visit.hands": Whole(least=1, most=20), "visit.skills": SKILL, "visit.work_id": ID, "visit.from_on": DAY,
    "visit.late_cents": MONEY, "visit.skip_cents": MONEY, "visit.fault": Text(most=500, lines=True),
    "visit.note": NOTE,
    "visit.assist_minutes": Whole(least=1, most=DAY_MIN), "visit.assist_hands": Whole(least=1, most=20),
    "visit.assist_from": Whole(most=DAY_MIN), "visit.assist_to": Whole(most=DAY_MIN), "visit.assist_skills": SKILL,
    "gate.visit_id": ID, "gate.what": NAME, "gate.owner": Text(most=120), "gate.due_on": DAY,
    "gate.state": Choice(of=("open", "closed")), "gate.paper": Text(most=200),
    "gate_rule.kind": ID, "gate_rule.town": Text(most=120), "gate_rule.what": NAME,
    "gate_rule.owner": Text(most=120), "gate_rule.days_before": Whole(most=365), "gate.days_before": Whole(most=365),
    "work_kind.id": Text(most=40, least=1, pattern="[a-z0-9][a-z0-9-]*",
                         words="must be small letters and digits with dashes between, such as new-cloth"),
    "work_kind.name": Text(most=40, least=1), "work_kind.counts_as": KIND, "work_kind.told": Text(most=80, least=1),
    "work_kind.steps": Text(most=120, least=1), "work_kind.minutes": Whole(least=1, most=DAY_MIN),
    "work_kind.hands": Whole(least=1, most=20), "work_kind.skills": SKILL,
    "work_kind.tools": Whole(least=1, most=50), "work_kind.parts": Whole(least=1, most=1_000),
    "work_kind.wind_mph": Whole(least=1, most=30), "work_kind.rack": Choice(of=("", "in", "out")),
    "callback.visit_id": ID, "callback.of_id": ID, "callback.why": Text(most=500, least=1, lines=True),
    "callback.at_cost": Choice(of=("ours", "maker", "customer")),
    "stored_awning.awning_id": ID, "stored_awning.yard_id": ID, "stored_awning.rack": Text(most=40, least=1),
    "stored_awning.state": Choice(of=("kept", "in", "out")), "stored_awning.since": DAY,
    "stored_awning.note": Text(most=200),
    "yearly_service.awning_id": ID, "yearly_service.work_id": ID, "yearly_service.month": Whole(least=1, most=12),
    "yearly_service.weeks_ahead": Whole(most=26), "yearly_service.note": Text(most=200),
    "maker_order.awning_id": ID, "maker_order.what": NAME, "maker_order.maker": Text(most=120),
    "maker_order.email": EMAIL, "maker_order.ref": Text(most=80), "maker_order.sent_on": DAY,
    "maker_order.confirmed_on": DAY, "maker_order.promised_on": DAY, "maker_order.changed_to": DAY,
    "maker_order.came_on": DAY, "maker_order.note": NOTE,
    "visit_hours.weekday": WEEKDAY, "visit_hours.day": DAY, "visit_hours.start": Whole(most=DAY_MIN - 1),
    "visit_hours.end": Whole(least=1, most=DAY_MIN),
    "visit_follows.first_id": ID, "visit_follows.then_id": ID, "visit_follows.min_days": Whole(most=60),
    "visit_follows.max_days": Whole(most=60),
    "booking.visit_id": ID, "booking.crew_id": ID, "booking.day": DAY, "booking.start": Whole(most=DAY_MIN - 1),
    "booking.hold": HOLD, "booking.told_how": Text(most=120), "booking.told_words": Text(most=2000, lines=True),
    "bench_count.visit_id": ID, "bench_count.item": NAME, "bench_count.counted": Whole(most=10_000),
    "bench_count.damaged": Whole(most=10_000), "bench_count.counted_on": DAY,
    "bench_count.counted_by": NAME,
    "short.visit_id": ID, "short.item": NAME, "short.missing": SOME, "short.ordered_on": DAY, "short.expected_on": DAY,
    "short.supplier": Text(most=120), "short.order_ref": Text(most=120),
    "crate_count.note": NOTE,
    "stock_move.pieces": Whole(least=-1_000_000, most=1_000_000), "stock_move.why": Text(most=400, least=1),
    "photo.shows": Choice(of=("wall", "zero", "crate", "work")), "photo.caption": Text(most=200),
    "signature.name": NAME,
    "message.to_name": Text(most=200), "message.to_email": EMAIL, "message.to_phone": PHONE,
    "message.text": Text(most=1200, least=1, lines=True), "message.subject": Text(most=200, least=1),
    "message.body": Text(most=8000, least=1, lines=True), "message.answer": Text(most=400, least=1),
    "account.name": Text(least=2, most=40, fits=_account, words="must be letters, digits, dots or dashes"),
    "account.email": EMAIL, "account.password": PASSWORD,
    "place_answer.address": Text(most=200, least=1), "place_answer.town": Text(most=120),
    "webhook.name": Text(most=40, least=2), "busy_calendar.whose": Text(most=90, least=1),
    "busy_calendar.address": Text(
        most=500, least=1, fits=_web, words="must be an address such as https://mail.example/lea.ics"
    ),
    "webhook.address": Text(most=500, least=1, fits=_web, words="must be an address such as https://program.example/told"),
    "text_gateway.address": Text(most=500, least=1, fits=_web, words="must be an address such as https://texts.example"),
    "text_gateway.form": Choice(of=("json", "form")), "text_gateway.to_field": FIELD, "text_gateway.text_field": FIELD,
    "text_gateway.from_field": FIELD, "text_gateway.words_field": FIELD,
    "text_gateway.more": Text(most=1000, lines=True),
    "text_gateway.header": Text(most=60, pattern="[A-Za-z0-9-]*", words="must be the name of a header, or empty"),
    "text_gateway.secret": Text(most=500, fits=lambda text: text.isascii() and text.isprintable(),
                                words="must be plain letters, without line breaks"),
    "text_gateway.prefix": Text(most=5, least=2, pattern=r"\+1([2-9][0-9]{2})?|\+[2-9][0-9]{0,3}",
                                words="must be a country's number such as +44, or +1 with or without an area: +1319"),
    "business.name": NAME, "business.town": NAME, "business.phone": PHONE, "business.clock": Choice(of=("12", "24")),
    "business.currency": Text(most=4, least=1), "business.language": Choice(of=tuple(LANGUAGES)),
    "business.warranty_months": Whole(most=600),
}  # fmt: skip


def limit(column: str) -> ColumnLimit:
    """Return the limit of "table.column"; `KeyError` where the column has none."""
    return LIMITS[column]


def as_sent(column: str) -> ColumnLimit:
    """Return the limit of "table.column" for a form's field, which arrives as text whatever it means."""
    return replace(LIMITS[column], typed=True)
