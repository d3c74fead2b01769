"""Rows as JSON records: listed in parts, read with their ETag, made, changed, deleted; each change in the history."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from typing import Annotated, Any

import msgspec
import sqlalchemy as sa
from pydantic import AfterValidator, BaseModel, ConfigDict
from sqlmodel import Session, SQLModel, select
from starlette.responses import Response

from api.access.guards import Who
from api.http import versions
from api.http.problems import Problem
from api.ledger.history import note
from api.routes.lists import ListPart, no_control

Words = Annotated[str, AfterValidator(no_control)]


class Body(BaseModel):
    """What a caller sends: no unknown keys, no value of another type, no blanks around words."""

    model_config = ConfigDict(extra="forbid", strict=True, str_strip_whitespace=True)


Also = Callable[[Session, list[str]], Mapping[str, Mapping[str, Any]]]


def listed(session: Session, table: type[SQLModel], part: ListPart, *where: Any, also: Also | None = None) -> Response:
    """Return a part of the rows in order of their ids: `items`, and in `next` the id to go on `after`, null at the end.

    `also` gives what stands in rows of other tables and belongs to the record, for the ids of the rows.
    """
    key = sa.inspect(table).primary_key[0]
    limit = part.most
    wanted = select(table).where(*where).order_by(key).limit(limit + 1)
    rows = session.exec(wanted if part.after is None else wanted.where(key > part.after)).all()
    items = [row.model_dump() for row in rows[:limit]]
    more = also(session, [item[key.name] for item in items]) if also is not None else {}
    items = [{**item, **more.get(item[key.name], {})} for item in items]
    following = items[-1][key.name] if len(rows) > limit else None
    return part.answer({"items": items, "next": following}, following)


def shown(
    row: SQLModel,
    if_none_match: str | None = None,
    status: int = 200,
    at: str | None = None,
    also: Mapping[str, Any] | None = None,
) -> Response:
    """Return the row, and `also`, with its ETag; 304 where the caller has it already. `at`: address of a new one."""
    version = int(row.version)  # type: ignore[attr-defined]
    headers = {"ETag": versions.etag(version)} | ({"Location": at} if at else {})
    if if_none_match is not None and versions.names(if_none_match, version):
        return Response(status_code=304, headers=headers)
    return _json({**row.model_dump(mode="json"), **(also or {})}, status, headers)


def make(
    session: Session,
    who: Who,
    now: datetime.datetime,
    row: SQLModel,
    noun: str,
    at: str,
    also: Mapping[str, Any] | None = None,
) -> Response:
    """Add the row and answer 201; `now` is the moment by which the work is dated."""
    session.add(row)
    session.flush()
    values = {**row.model_dump(mode="json"), **(also or {})}
    note(session, now, who.name, "made", noun, values["id"], values)
    return shown(row, status=201, at=f"{at}/{values['id']}", also=also)


def change(
    session: Session,
    who: Who,
    now: datetime.datetime,
    row: Any,
    noun: str,
    values: Mapping[str, Any],
    if_match: str | None,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
) -> Response:
    """Set `values` on the row that `if_match` names; the history gets each field's old and new value.

    `before` and `after` are what belongs to the record and stands in other tables, which the caller changes.
    """
    old = {**row.model_dump(mode="json"), **(before or {})}
    sent: dict[str, Any] = msgspec.to_builtins({**values, **(after or {})})
    versions.require(if_match, row, old, sent)
    if not versions.update(session, row, values):
        raise versions.changed(row.version, {**row.model_dump(mode="json"), **(before or {})}, sent)
    new = {**row.model_dump(mode="json"), **(after or {})}
    detail = {name: [old[name], new[name]] for name in sent if old[name] != new[name]}
    note(session, now, who.name, "changed", noun, row.id, detail)
    return shown(row, also=after)


def remove(
    session: Session,
    who: Who,
    now: datetime.datetime,
    row: Any,
    noun: str,
    if_match: str | None,
    users: Mapping[str, Any],
) -> Response:
    """Delete the row that `if_match` names; 409 while rows use it: `users` names the column of each that may."""
    before = row.model_dump(mode="json")
    versions.require(if_match, row, before, {})
    counts = {
        name: session.execute(sa.select(sa.func.count()).where(column == row.id)).scalar_one()
        for name, column in users.items()
    }
    used = {name: count for name, count in counts.items() if count}
    if used:
        words = ", ".join(f"{count} {name}" for name, count in used.items())
        raise Problem(409, f"{row.id} cannot be deleted: {words} belong to it.", kind="in-use", used_by=used)
    if not versions.delete(session, row):
        raise Problem(409, "This was changed or deleted at the same moment; read it again.", kind="changed-meanwhile")
    note(session, now, who.name, "deleted", noun, before["id"], before)
    return Response(status_code=204)


def _json(value: Any, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    return Response(msgspec.json.encode(value), status, headers, "application/json")
