"""Where addresses are looked up and drives are timed, and what was answered: places, and drives between them."""

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


class RoadSource(SQLModel, table=True):
    """One row: what times the drives of the whole service; `kind` "estimate" asks nobody.

    `address` is that of a table service, `tiles` the name of a folder of tiles in the data folder's `roads`; `profile`
    empty: the usual one of its kind. A drive older than `max_age_days` is asked for again.
    """

    __tablename__ = "road_source"

    id: int = Field(default=1, primary_key=True)
    kind: str = "estimate"
    address: str = ""
    tiles: str = ""
    profile: str = ""
    max_age_days: int = 30
    version: int = 1

    __table_args__ = (
        one_of("kind", "estimate", "extract", "osrm", "valhalla"),
        sa.CheckConstraint("id = 1", name="only_one"),
    )


class RoadTable(SQLModel, table=True):
    """The drives of one source as a whole, and how asking for them went last.

    `asked` names the source as it is set, `identity` what answered under that (a folder of tiles may be built anew).
    `constants` are those of the estimate, fitted to its drives; null: too few were known. `version` grows with every
    change of a drive or of the constants.
    """

    __tablename__ = "road_table"

    id: int | None = Field(default=None, primary_key=True)
    asked: str = Field(unique=True)
    name: str = ""
    identity: str = ""
    constants: dict[str, Any] | None = Field(default=None, sa_type=sa.JSON)
    evidence: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    tried_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    got_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    failing_since: datetime.datetime | None = Field(default=None, sa_type=Moment)
    words: str = ""
    version: int = 1


class RoadPlace(SQLModel, table=True):
    """A place between which drives are timed, in hundred-thousandths of a degree (about a meter)."""

    __tablename__ = "road_place"

    id: int | None = Field(default=None, primary_key=True)
    lat_e5: int
    lon_e5: int

    __table_args__ = (sa.UniqueConstraint("lat_e5", "lon_e5"),)


class Drive(SQLModel, table=True):
    """One drive as its source timed it; without `seconds` it gave none that can be used, and `why` says why not."""

    __tablename__ = "drive"

    table_id: int = Field(primary_key=True, foreign_key="road_table.id")
    start_id: int = Field(primary_key=True, foreign_key="road_place.id")
    goal_id: int = Field(primary_key=True, foreign_key="road_place.id")
    seconds: float | None = None
    metres: float | None = None
    got_on: datetime.date
    why: str = ""
