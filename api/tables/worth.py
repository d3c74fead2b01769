"""Runs that ask what would pay: which plan they were asked of, and what they found."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, one_of


class WorthRun(SQLModel, table=True):
    """A run of `scheduler.worth` for the week of one plan; `found` are its `Worth` as plain data, dearest first."""

    __tablename__ = "worth_run"

    id: int | None = Field(default=None, primary_key=True)
    start_date: datetime.date = Field(index=True)
    plan_id: int = Field(foreign_key="stored_plan.id")
    state: str = "running"
    seconds: float
    asked_at: datetime.datetime = Field(sa_type=Moment)
    asked_by: str
    ended_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    found: list[dict[str, Any]] = Field(default_factory=list, sa_type=sa.JSON)
    fault: str = ""

    __table_args__ = (one_of("state", "running", "done", "cut off", "failed"),)
