"""What moved on and off a yard's shelf, and what posted weeks have set aside of it."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, not_negative, one_of


class StockMove(SQLModel, table=True):
    """Pieces that came onto a shelf (positive) or left it; rows are only added, `on_hand_after` is their running sum.

    A shelf below zero needs a `why`: something was taken that no count has found.
    """

    __tablename__ = "stock_move"

    id: int | None = Field(default=None, primary_key=True)
    item: str
    yard_id: str
    kind: str
    pieces: int
    on_hand_after: int
    delivery_id: int | None = Field(default=None, foreign_key="delivery.id")
    visit_id: str | None = Field(default=None, foreign_key="visit.id", index=True)
    why: str = ""
    at: datetime.datetime = Field(sa_type=Moment)
    by: str

    __table_args__ = (
        sa.ForeignKeyConstraint(["item", "yard_id"], ["stock_item.item", "stock_item.yard_id"]),
        one_of("kind", "count", "receipt", "taken", "returned", "correction"),
        sa.CheckConstraint("on_hand_after >= 0 OR why <> ''", name="below_zero_because"),
        sa.Index("ix_stock_move_shelf", "item", "yard_id", "id"),
    )


class Reservation(SQLModel, table=True):
    """Pieces that a posted week has set aside for a visit on its day: held, then taken to the van or released."""

    id: int | None = Field(default=None, primary_key=True)
    posted_id: int = Field(foreign_key="posted_week.id", index=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    item: str
    yard_id: str
    pieces: int
    day: datetime.date
    state: str = "held"
    changed_at: datetime.datetime = Field(sa_type=Moment)

    __table_args__ = (
        sa.ForeignKeyConstraint(["item", "yard_id"], ["stock_item.item", "stock_item.yard_id"]),
        one_of("state", "held", "taken", "released"),
        not_negative("pieces"),
    )
