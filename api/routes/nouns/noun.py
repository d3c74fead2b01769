"""The five routes of a noun of the yard that people name themselves: listed, read, made, changed, deleted, as JSON.

Customers, orders and the like get an id from us and have rules of their own; yards, people, vans, crews and equipment
have the id that stands on their door, and differ in their fields only.
"""
# No `from __future__ import annotations`: the web framework reads the types of the functions made here.

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, get_args

import sqlalchemy as sa
from fastapi.responses import Response
from pydantic import Field, create_model
from sqlmodel import Session, SQLModel, select

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.http.pages import Database
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.http.versions import IfMatch, IfNoneMatch
from api.routes import records
from api.routes.asking import Asked
from api.routes.lists import Parts

Reader = Annotated[Who, allow(Role.manager, Role.office, Role.reader)]
Writer = Annotated[Who, allow(Role.manager, Role.office)]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$", description="letters, digits, . _ -")]


@dataclass(frozen=True)
class RecordPart:
    """Rows of another table that belong to a record, a list of its body under `key`: a person's days off."""

    key: str
    table: type[SQLModel]
    owner: str
    order: str


def noun(
    path: str,
    name: str,
    table: type[SQLModel],
    body: type[records.Body],
    *,
    check: Callable[[Session, str, Any], None],
    users: dict[str, Any],
    part: RecordPart | None = None,
) -> Subject:
    """Return the router of the noun `name` under `path`, with rows of `table` and bodies of `body`.

    `check` is given the id and the body, and raises `BadInput` where it names what does not exist; `users` are the
    columns that keep a row from being deleted, by what they are called.
    """
    router = Subject(prefix=path, tags=(path.strip("/"),))
    plural = path.strip("/")
    title = name.title().replace(" ", "")
    made_body = create_model(f"New{title}", __base__=body, __doc__=f"A new {name} under its id.", id=(Name, ...))
    record = create_model(f"{title}Record", __base__=body, id=(str, ...), version=(int, ...))
    record_list = create_model(
        f"{title}List", __base__=records.Body, items=(list[record], ...), next=(str | None, ...)  # type: ignore[valid-type]
    )  # fmt: skip
    inner = {part.key} if part else set()
    (inside,) = get_args(body.model_fields[part.key].annotation) if part else (records.Body,)
    told = set(inside.model_fields)

    def parts(session: Session, ids: list[str]) -> dict[str, dict[str, Any]]:
        if part is None:
            return {}
        owner, order = getattr(part.table, part.owner), getattr(part.table, part.order)
        lists: dict[str, list[dict[str, Any]]] = {one: [] for one in ids}
        for row in session.exec(select(part.table).where(owner.in_(ids)).order_by(owner, order)):
            lists[getattr(row, part.owner)].append(row.model_dump(mode="json", include=told))
        return {one: {part.key: rows} for one, rows in lists.items()}

    def put_parts(session: Session, one: str, sent: records.Body) -> None:
        if part is None:
            return
        wanted = [row.model_dump() for row in getattr(sent, part.key)]
        for row in session.exec(select(part.table).where(getattr(part.table, part.owner) == one)):
            values = row.model_dump(include=told)
            if values in wanted:  # stays, with what else is known of it
                wanted.remove(values)
            else:
                session.delete(row)
        session.flush()
        session.add_all(part.table(**{part.owner: one}, **values) for values in wanted)
        session.flush()

    @router.get("", response_model=record_list, description=f"List {plural} by id, `limit` at a time.")
    def list_all(session: Database, _: Reader, asked: Parts) -> Response:
        return records.listed(session, table, asked, also=parts)

    @router.get("/{one_id}", response_model=record, description=f"Give one {name} with its ETag.")
    def read(session: Database, _: Reader, one_id: str, if_none_match: IfNoneMatch = None) -> Response:
        row = found(session, table, one_id, name)
        return records.shown(row, if_none_match, also=parts(session, [one_id]).get(one_id))

    @router.post(
        "", status_code=201, response_model=record, responses=responses(400, 409),
        description=f"Make a {name} under its own id; repeat safely by Idempotency-Key.",
    )  # fmt: skip
    def make(session: Database, who: Writer, now: Now, once: Once, body: made_body) -> Response:  # type: ignore[valid-type]
        sent: Any = body

        def write() -> Response:
            if session.get(table, sent.id) is not None:
                raise Problem(409, f'There is a {name} with the id "{sent.id}" already.', kind="in-use")
            check(session, sent.id, sent)
            session.add(row := table(**sent.model_dump(exclude=inner)))
            session.flush()
            put_parts(session, sent.id, sent)
            return records.make(session, who, now, row, name, path, also=parts(session, [sent.id]).get(sent.id))

        return once(session, write)

    @router.put(
        "/{one_id}", response_model=record, responses=responses(400, 409, 412, 428),
        description=f"Change a {name} as a whole, in the version that If-Match names.",
    )  # fmt: skip
    def change(
        session: Database, who: Writer, now: Now, once: Once, asked: Asked, one_id: str, body: body,  # type: ignore[valid-type]
        if_match: IfMatch = None,
    ) -> Response:  # fmt: skip
        sent: Any = body

        def write() -> Response:
            row = found(session, table, one_id, name)
            check(session, one_id, sent)
            before = parts(session, [one_id]).get(one_id)
            after = sent.model_dump(mode="json", include=inner) if part else None
            values = sent.model_dump(exclude=inner)
            answer = records.change(session, who, now, row, name, values, if_match, before=before, after=after)
            put_parts(session, one_id, sent)
            return answer

        return once(session, asked(session, write))

    @router.delete(
        "/{one_id}", status_code=204, responses=responses(400, 409, 412, 428),
        description=f"Delete a {name} that nothing belongs to.",
    )  # fmt: skip
    def delete(
        session: Database, who: Writer, now: Now, once: Once, asked: Asked, one_id: str, if_match: IfMatch = None
    ) -> Response:
        def write() -> Response:
            row = found(session, table, one_id, name)
            if part is not None:
                session.execute(sa.delete(part.table).where(getattr(part.table, part.owner) == one_id))
            return records.remove(session, who, now, row, name, if_match, users)

        return once(session, asked(session, write))

    return router
