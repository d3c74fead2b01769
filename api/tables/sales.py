"""What was sold, to whom and where: customers, sites, orders, their awnings with the maker's list, and surveys."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import not_negative, one_of


class Customer(SQLModel, table=True):
    """Who is written to, in `language`; empty: the business's."""

    id: str = Field(primary_key=True)
    name: str = Field(index=True)
    phone: str
    email: str
    note: str = ""
    language: str = ""
    version: int = 1


class Site(SQLModel, table=True):
    """Where the work is; `built` is the year of the house, null where unknown; `access` what the crew must know.

    Not `placed`: nobody has said yet where its address is, and its latitude and longitude only stand in.
    """

    id: str = Field(primary_key=True)
    customer_id: str = Field(foreign_key="customer.id", index=True)
    town: str
    address: str
    lat: float
    lon: float
    placed: bool = True
    storeys: int = 1
    built: int | None = None
    access: str = ""
    version: int = 1


class Order(SQLModel, table=True):
    """A sale; its price, where known, is what is lost for good if it is cancelled."""

    __tablename__ = "sales_order"

    id: str = Field(primary_key=True)
    customer_id: str = Field(foreign_key="customer.id", index=True)
    site_id: str = Field(foreign_key="site.id", index=True)
    ordered_on: datetime.date
    state: str = "open"
    note: str = ""
    version: int = 1

    __table_args__ = (one_of("state", "open", "done", "cancelled"),)


class Awning(SQLModel, table=True):
    """One awning of an order; its crates lie at `yard_id` from `arrives_on` on (null: the maker has named no day)."""

    id: str = Field(primary_key=True)
    order_id: str = Field(foreign_key="sales_order.id", index=True)
    model: str
    width_mm: int
    projection_mm: int
    weight_kg: int
    box_mm: int
    boxes: int
    motor: str | None = None
    cloth: str = ""
    yard_id: str = Field(foreign_key="yard.id")
    arrives_on: datetime.date | None = None
    version: int = 1

    __table_args__ = (
        one_of("motor", "left", "right"),
        not_negative("width_mm", "projection_mm", "weight_kg", "box_mm", "boxes"),
    )


class MakerPart(SQLModel, table=True):
    """A line of the list that the maker packs with an awning."""

    __tablename__ = "maker_part"

    awning_id: str = Field(primary_key=True, foreign_key="awning.id")
    item: str = Field(primary_key=True)
    quantity: int

    __table_args__ = (not_negative("quantity"),)


class AwningModel(SQLModel, table=True):
    """A model of awning as its maker sells it; `box_over_mm` is how much longer its box is than the awning is wide.

    `id` is the name by which it is sold.
    """

    __tablename__ = "awning_model"

    id: str = Field(primary_key=True)
    maker: str = ""
    boxes: int = 1
    box_over_mm: int = 300
    motor: str | None = None
    version: int = 1

    __table_args__ = (one_of("motor", "left", "right"), not_negative("boxes", "box_over_mm"))


class ModelSize(SQLModel, table=True):
    """What a model weighs and needs up to a width and a projection."""

    __tablename__ = "model_size"

    id: int | None = Field(default=None, primary_key=True)
    model_id: str = Field(foreign_key="awning_model.id", index=True)
    width_mm: int
    projection_mm: int
    weight_kg: int
    arms: int
    brackets: int

    __table_args__ = (not_negative("width_mm", "projection_mm", "weight_kg", "arms", "brackets"),)


class ModelPart(SQLModel, table=True):
    """A line of the list that the maker packs with each awning of a model: `quantity` for each of what `per` says."""

    __tablename__ = "model_part"

    model_id: str = Field(primary_key=True, foreign_key="awning_model.id")
    item: str = Field(primary_key=True)
    quantity: int
    per: str = "awning"

    __table_args__ = (one_of("per", "awning", "arm", "bracket"), not_negative("quantity"))


class SiteSurvey(SQLModel, table=True):
    """What was measured, as a document in `survey/1` or `survey/2` form; the newest of an awning counts.

    `uncertain` says in words what could not be made sure of on the wall. One without an awning was measured before any
    was chosen: the awning of its document is a usual one, and the one that is ordered for that wall takes the survey.
    `visit_id` is the visit that measured it so, null where it was measured for its awning or nobody said.
    """

    __tablename__ = "site_survey"

    id: str = Field(primary_key=True)
    site_id: str = Field(foreign_key="site.id", index=True)
    awning_id: str | None = Field(default=None, foreign_key="awning.id", index=True)
    visit_id: str | None = Field(default=None, foreign_key="visit.id", index=True)
    surveyed_on: datetime.date
    surveyed_by: str
    document: dict[str, Any] = Field(sa_type=sa.JSON)
    uncertain: str = ""
    version: int = 1
