"""What the tables that can be imported are, column by column: an export's page on its columns is made of these."""

from __future__ import annotations

INTRODUCTION = """\
Eaveboard export of {moment}

CSV files are UTF-8 with a byte order mark, commas between cells, the names of the columns in the first row. Dates are
2027-04-12, moments UTC (2027-04-12T14:30:00Z), lengths millimetres, weights kilograms, money cents, places degrees of
latitude and longitude (WGS 84). Empty means that there is no value. A text that a spreadsheet would take for a formula
(it begins with = + - @) has an apostrophe before it; an import takes it off again. The XLSX books hold the same."""

TABLE_WORDS = {
    "people": "everybody who works here",
    "stock": "what the last count of each yard's shelf found",
    "customers": "customers",
    "sites": "where the work is",
    "orders": "what was sold to whom",
    "awnings": "the awnings of the orders and where their crates lie",
    "maker_parts": "what the maker packs with each awning",
    "visits": "visits, the hours that customers allow, and what they were told",
}

_HOURS = 'hours that the customer allows: "Mon-Fri 8:00-17:00; 2027-04-17 9:00-12:00"; empty: any'

# table: {column: what it is}, columns in their order
COLUMNS: dict[str, dict[str, str]] = {
    "people": {
        "person": "key",
        "name": "name",
        "yard": "the yard that the person works from",
        "role": "lead, helper, extra or office",
        "phone": "telephone",
        "skills": "masonry, stucco, roof-mount, motor-setup, with blanks between them",
        "weekdays": 'days usually worked: "Mon-Fri", "Tue Thu"',
        "day_cents": "what a day of a helper costs who is called for it",
        "language": "in which the person reads day sheets: en or es; empty: the business's; may be missing",
    },
    "stock": {
        "item": "key, with the yard",
        "yard": "key, with the item",
        "name": "name of the part",
        "on_hand": "pieces counted",
        "counted_on": "day of the count; an older count than the one held is refused",
    },
    "customers": {
        "customer": "key",
        "name": "name",
        "phone": "telephone",
        "email": "electronic mail",
        "note": "what to know",
        "language": "in which the customer is written to: en or es; empty: the business's; may be missing",
    },
    "sites": {
        "site": "key",
        "customer": "whose it is",
        "town": "town",
        "address": "street and number",
        "lat": "latitude; empty or missing, with lon: looked up by the address, else put on the map later",
        "lon": "longitude; as lat",
        "storeys": "stories of the house",
        "built": "year in which it was built; empty: unknown",
        "access": "what the crew must know",
    },
    "orders": {"order": "key", "site": "where it goes", "ordered_on": "day of the sale", "note": "what to know"},
    "awnings": {
        "awning": "key",
        "order": "the order that it belongs to",
        "model": "model",
        "width_mm": "width",
        "projection_mm": "projection",
        "weight_kg": "weight",
        "box_mm": "length of the longest box",
        "boxes": "number of long boxes",
        "motor": "side of the motor, left or right; empty: a crank",
        "cloth": "cloth",
        "yard": "yard at which the crates lie or arrive",
        "arrives_on": "day on which they come or came; empty: none named",
    },
    "maker_parts": {"awning": "key, with the item", "item": "key, with the awning", "quantity": "pieces"},
    "visits": {
        "visit": "key",
        "kind": "kind of work: install, survey, repair, or one of the business's own by its code",
        "site": "where it is",
        "order": "the order that it belongs to; may be empty",
        "awning": "the awning; an install needs one",
        "due_on": "day by which it should be done; may be empty",
        "hours": _HOURS,
        "booked_crew": "crew that the customer was told; all of the booking empty: what was told before stands",
        "booked_on": "day that the customer was told",
        "booked_at": "hour that the customer was told, such as 9:15",
        "hold": "firm (crew, day and hour), day, or soft (may move)",
        "told_how": "how the customer was told",
        "told_words": "the words",
        "minutes": "time on site that overrules the estimate; may be empty",
        "hands": "how many people, where that overrules the estimate; may be empty",
        "skills": "skills needed beyond what the wall asks for",
        "fault": "what a repair is for",
        "note": "what to know",
        "assist_hands": "people of a second crew that comes for the lift; empty: none comes; may be missing",
        "assist_minutes": "for how many minutes the second crew comes; with assist_hands; may be missing",
        "assist_from": "minutes after the start at which it begins at the earliest; empty: 0; may be missing",
        "assist_to": "minutes after the start at which it begins at the latest; empty: any; may be missing",
        "assist_skills": "skills needed in the second crew; may be missing",
    },
}
