"""Where addresses are looked up, what was answered, and the addresses of a file."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, one_of


class PlaceSource(SQLModel, table=True):
    """One row: where addresses are looked up; `kind` "none" asks nobody, "file" the addresses that were taken in.

    `address` is that of a service, `contact` is sent to it with each request. `failing_since` and `words` say how
    asking goes; null and empty while it works.
    """

    __tablename__ = "place_source"

    id: int = Field(default=1, primary_key=True)
    kind: str = "none"
    address: str = ""
    contact: str = ""
    failing_since: datetime.datetime | None = Field(default=None, sa_type=Moment)
    words: str = ""
    version: int = 1

    __table_args__ = (
        one_of("kind", "none", "file", "nominatim", "photon"),
        sa.CheckConstraint("id = 1", name="only_one"),
    )


class PlaceAnswer(SQLModel, table=True):
    """What is known of where an address is, by the address as it is compared.

    `state`: wanted (to be asked), one, several, near (its street or town alone), none, or chosen by somebody;
    `places` are the candidates, the best first, of a chosen one that one. `source` names who answered.
    """

    __tablename__ = "place_answer"

    question: str = Field(primary_key=True)
    address: str
    town: str
    state: str
    source: str = ""
    places: list[Any] = Field(default_factory=list, sa_type=sa.JSON)
    at: datetime.datetime = Field(sa_type=Moment)
    by: str = ""

    __table_args__ = (one_of("state", "wanted", "one", "several", "near", "none", "chosen"),)


class KnownAddress(SQLModel, table=True):
    """One address of the file of addresses; `street_key` and `town_key` are how they are compared."""

    __tablename__ = "known_address"

    id: int | None = Field(default=None, primary_key=True)
    number: str
    street: str
    town: str
    postcode: str = ""
    street_key: str = Field(index=True)
    town_key: str
    lat: float
    lon: float
