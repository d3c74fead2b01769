"""Codes from a phone against the RFC's own table: the library, and what the service takes."""

from __future__ import annotations

import base64
import csv
import datetime
import hashlib
from pathlib import Path

import pyotp
import pytest
import sqlalchemy as sa
from sqlmodel import Session

from api import tables
from api.access import second_factor
from api.tables import SecondFactor

KEYS = {"SHA1": 20, "SHA256": 32, "SHA512": 64}
with Path(__file__).with_name("totp.csv").open() as file:
    ROWS = list(csv.DictReader(file))


def key(algorithm: str) -> str:
    return base64.b32encode((b"1234567890" * 7)[: KEYS[algorithm]]).decode()


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['algorithm']}-{row['time_s']}")
def test_the_library_makes_the_published_codes(row: dict[str, str]) -> None:
    made = pyotp.TOTP(key(row["algorithm"]), digits=8, digest=getattr(hashlib, row["algorithm"].lower()))
    assert made.at(int(row["time_s"])) == row["digits_8"]


@pytest.mark.parametrize("row", [row for row in ROWS if row["algorithm"] == "SHA1"], ids=lambda row: row["time_s"])
def test_the_service_takes_the_last_six_figures_of_the_published_code_once(row: dict[str, str]) -> None:
    database = sa.create_engine("sqlite://")
    tables.Account.metadata.create_all(database)
    now = datetime.datetime.fromtimestamp(int(row["time_s"]), datetime.UTC)
    with Session(database) as session:
        account = tables.Account(id=1, name="maud", role="manager", password="")
        session.add(account)
        session.add(SecondFactor(account_id=1, key=key("SHA1"), begun_at=now, since=now))
        session.flush()
        near = [now + datetime.timedelta(seconds=seconds) for seconds in (90, 60, 30)]
        taken = [second_factor.shows(session, account, row["digits_8"][2:], moment) for moment in [*near, now]]
        assert taken == [False, False, True, False]
    database.dispose()
