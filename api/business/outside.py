"""What comes from outside and by which plans are made: forecasts, the climate of the place, drive times, addresses."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlsplit

from sqlmodel import Session

from api.business.measured import DEGREES_F, FAHRENHEIT, INCHES, MPH, InUnits
from api.business.part import BadValues, Group, Line, Part, chosen, words
from api.business.rules import held
from api.fields.files.sheets import whole
from api.http import versions
from api.languages import gettext, to_say
from api.tables import ForecastSource, PlaceSource, RoadSource
from scheduler.errors import BadInput
from scheduler.weather.climate import COLUMNS, climate_from_csv

KINDS = (
    ("none", "nowhere"),
    ("nws", "US National Weather Service"),
    ("open-meteo", "a service of the Open-Meteo kind"),
    ("file", "a file that somebody drops"),
)
ROADS = (
    ("estimate", "the estimate, by distance"),
    ("extract", "a road extract on this machine"),
    ("osrm", "a table service of the OSRM kind"),
    ("valhalla", "a table service of the Valhalla kind"),
)
PLACES = (
    ("none", "nowhere: pins are put by hand"),
    ("file", "a file of addresses that is taken in here"),
    ("nominatim", "a service of the Nominatim kind"),
    ("photon", "a service of the Photon kind"),
)
_FOLDER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
_PROFILE = re.compile(r"[A-Za-z0-9_-]{0,40}")
MONTHS = (
    to_say("January"), to_say("February"), to_say("March"), to_say("April"), to_say("May"), to_say("June"),
    to_say("July"), to_say("August"), to_say("September"), to_say("October"), to_say("November"), to_say("December"),
)  # fmt: skip
# What each column is called, the unit it is kept in, and that of a business that measures in feet.
_COLUMNS: dict[str, tuple[str, str, InUnits | None]] = {
    "wind_mps": (to_say("Wind"), "m/s", MPH),
    "wind_sd_mps": (to_say("Its spread"), "m/s", MPH),
    "wet_hours": (to_say("Wet hours"), to_say("of 1"), None),
    "wet_hour_mm": (to_say("Rain of a wet hour"), "mm", INCHES),
    "thunder_hours": (to_say("Hours with thunder"), to_say("of 1"), None),
    "temp_c": (to_say("Air"), "°C", FAHRENHEIT),
    "temp_swing_c": (to_say("Day and night"), "± °C", DEGREES_F),
    "temp_sd_c": (to_say("Its spread"), "°C", DEGREES_F),
    "humidity": (to_say("Humidity"), to_say("of 1"), None),
}


def forecast(session: Session) -> Part:
    """Return the part on where forecasts come from."""
    row = session.get(ForecastSource, 1)
    now = row or ForecastSource()
    lines = (
        Line("kind", "Forecasts come from", now.kind, chosen(KINDS), choices=KINDS,
             meaning="Fetched every hour for every place where work is open. What came is shown at /forecasts."),
        Line("address", "Address of the service", now.address, _address, wide=True,
             meaning="Empty: the public address of the kind chosen. A dropped file is drop/forecast.csv in the data "
                     "folder."),
        Line("contact", "Contact sent with each request", now.contact, words(200, 0), wide=True,
             meaning="An e-mail or web address by which the service can reach you; services ask for one."),
    )  # fmt: skip

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        if values["kind"] in ("nws", "open-meteo") and not values["contact"]:
            raise BadValues([("contact", "must be an e-mail or web address, by which the service can reach you")])
        if row is not None:
            return versions.update(session, row, values)
        session.add(ForecastSource(**values))
        session.flush()
        return True

    return Part("forecast", "Forecasts", "Where the weather of the days ahead is asked for.",
                (Group("", lines=lines),), write, more=("/forecasts", to_say("See what came")))  # fmt: skip


def roads(session: Session) -> Part:
    """Return the part on what times the drives of the whole service."""
    row = session.get(RoadSource, 1)
    now = row or RoadSource()
    lines = (
        Line("kind", "Drives are timed by", now.kind, chosen(ROADS), choices=ROADS,
             meaning="Used in every week, offer and day sheet. What it does not know is estimated, and the sheet says "
                     "so."),
        Line("address", "Address of the service", now.address, _address, wide=True,
             meaning="Of a table service, such as http://127.0.0.1:5000."),
        Line("tiles", "Folder of road tiles", now.tiles, _matching(_FOLDER, "the name of a folder"),
             meaning="Of an extract: its name inside roads in the data folder, where eaveboard roads get puts it."),
        Line("profile", "Kind of vehicle", now.profile, _matching(_PROFILE, "a profile's name"),
             meaning="The service's profile or the extract's costing; empty: a car's."),
        Line("max_age_days", "Ask again after", str(now.max_age_days), lambda text: whole(text, 1, 365), unit="days",
             meaning="For a service only: an extract changes when it is built anew."),
    )  # fmt: skip

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        if values["kind"] in ("osrm", "valhalla") and not values["address"]:
            raise BadValues([("address", "must be the address of the service, such as http://127.0.0.1:5000")])
        if values["kind"] == "extract" and not values["tiles"]:
            raise BadValues([("tiles", "must be the name of a folder of tiles; eaveboard roads get makes one")])
        if row is not None:
            return versions.update(session, row, values)
        session.add(RoadSource(**values))
        session.flush()
        return True

    return Part("roads", "Roads", "What times the drives between yards and sites.",
                (Group("", lines=lines),), write, more=("/roads", "Try it now, and see what is known"))  # fmt: skip


def places(session: Session) -> Part:
    """Return the part on where addresses are looked up."""
    row = session.get(PlaceSource, 1)
    now = row or PlaceSource()
    lines = (
        Line("kind", "Addresses are looked up", now.kind, chosen(PLACES), choices=PLACES,
             meaning="Asked for each new address once, one a second at most; the answer is kept."),
        Line("address", "Address of the service", now.address, _address, wide=True,
             meaning="Such as https://places.example. Look at its terms first: public services take few requests."),
        Line("contact", "Contact sent with each request", now.contact, words(200, 0), wide=True,
             meaning="An e-mail or web address by which the service can reach you; services ask for one."),
    )  # fmt: skip

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        if values["kind"] in ("nominatim", "photon"):
            needed = {"address": "the address of the service, such as https://places.example",
                      "contact": "an e-mail or web address, by which the service can reach you"}  # fmt: skip
            missing = [(name, f"must be {what}") for name, what in needed.items() if not values[name]]
            if missing:
                raise BadValues(missing)
        if row is not None:
            return versions.update(session, row, {**values, "failing_since": None, "words": ""})
        session.add(PlaceSource(**values))
        session.flush()
        return True

    return Part("places", "Addresses", "Where a typed address is found on the map.",
                (Group("", lines=lines),), write, more=("/places", "Try it now, or take a file in"))  # fmt: skip


def climate(session: Session) -> Part:
    """Return the part on the usual weather of each month, by which days beyond the forecast are planned."""
    row = held(session)
    known = {month.month: month for month in climate_from_csv(row.climate).months} if row.climate else {}
    units = {column: unit for column, (_, _, unit) in _COLUMNS.items() if unit and row.units == "imperial"}
    heads = {
        column: f"{gettext(label)}, {units[column].unit if column in units else gettext(unit)}"
        for column, (label, unit, _) in _COLUMNS.items()
    }
    rows = []
    for number, name in enumerate(MONTHS, 1):
        month = known.get(number)
        rows.append((name, tuple(
            Line(f"{number}.{column}", f"{heads[column]}, {gettext(name)}",
                 "" if month is None else f"{getattr(month, column):.6g}", words(12, 0), measured=units.get(column))
            for column in _COLUMNS
        )))  # fmt: skip
    meant = to_say(
        "Take these from the normals of the nearest station. Days that no forecast reaches are planned by them; with "
        "all left empty every such hour counts as lost with a chance of 8 %."
    )

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        cells = [[str(n), *(values[f"{n}.{column}"] for column in _COLUMNS)] for n in range(1, len(MONTHS) + 1)]
        if not any(cell for line in cells for cell in line[1:]):
            return versions.update(session, row, {"climate": ""})
        missing = [
            f"{line[0]}.{name}" for line in cells for name, cell in zip(_COLUMNS, line[1:], strict=True) if not cell
        ]
        if missing:
            raise BadValues([(name, "must not be empty: give all months, or none") for name in missing])
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows([COLUMNS, *cells])
        try:
            climate_from_csv(out.getvalue())
        except BadInput as fault:
            line, _, column = fault.where.partition(", ")
            number = int(line.removeprefix("line ")) - 1
            raise BadValues([(f"{number}.{column}", fault.problem)]) from None
        return versions.update(session, row, {"climate": out.getvalue()})

    return Part("climate", "Usual weather", "What the weather is like by month, where no forecast reaches.",
                (Group("By month, daytime", meant, heads=tuple(heads.values()), rows=tuple(rows)),), write)  # fmt: skip


def _matching(form: re.Pattern[str], what: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text and not form.fullmatch(text):
            raise BadInput("", f'must be {what}, in plain letters, digits, - and _, is "{text}"')
        return text

    return read


def _address(text: str) -> str:
    if not text:
        return ""
    parts = urlsplit(text)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise BadInput("", f'must be an address such as https://service.example/v1, is "{text}"')
    return text
