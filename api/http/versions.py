"""Edits by two at once: a row's version as its ETag (RFC 9110), and a change refused where it is no longer that one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Protocol

import sqlalchemy as sa
from fastapi import Header
from sqlmodel import Session, SQLModel

from api.http.problems import Problem

IfMatch = Annotated[str | None, Header(alias="If-Match", description="the ETag of the version that is changed")]
IfNoneMatch = Annotated[str | None, Header(alias="If-None-Match", description="the ETag that the caller has already")]


class Versioned(Protocol):
    """A row with a version that every change raises by one."""

    version: int


def etag(version: int | str) -> str:
    """Return the ETag of a row's version, or of the digest of what has no row of its own."""
    return f'"{version}"'


def names(header: str | None, version: int | str) -> bool:
    """Say whether an If-Match or If-None-Match header names `version` (`*` names any)."""
    tags = [tag.strip() for tag in (header or "").split(",")]
    return "*" in tags or etag(version) in tags


def require(if_match: str | None, row: Versioned, current: Mapping[str, Any], sent: Mapping[str, Any]) -> None:
    """Raise `Problem` 428 where the caller does not say which version they mean, 412 where it is not that of `row`.

    The 412 carries both: `current`, the row as it is now, and `sent`, what the caller wanted.
    """
    if if_match is None:
        raise Problem(
            428, f"Send If-Match with the ETag that you have read, now {etag(row.version)}.", kind="no-version"
        )
    if not names(if_match, row.version):
        raise changed(row.version, current, sent)


def changed(version: int | str, current: Mapping[str, Any], sent: Mapping[str, Any]) -> Problem:
    """Return the refusal that shows both versions."""
    detail = "Nothing was changed. Look at both versions, and send yours again with the new ETag if it still holds."
    members = {"current": dict(current), "sent": dict(sent)}
    return Problem(412, detail, kind="changed-meanwhile", headers={"ETag": etag(version)}, **members)


def update(session: Session, row: SQLModel, values: Mapping[str, Any]) -> bool:
    """Set `values` on the row of the database if it is still in the version of `row`; say whether it was.

    One conditional statement: of two that change the same version at once, one gets True. `row` is read anew.
    """
    done = session.execute(
        sa.update(type(row))
        .where(*_still(row))
        .values(**values, version=_version(row) + 1)
        .execution_options(synchronize_session=False)
    )
    session.refresh(row)
    return int(done.rowcount) == 1  # type: ignore[attr-defined]


def delete(session: Session, row: SQLModel) -> bool:
    """Delete the row of the database if it is still in the version of `row`; say whether it was."""
    done = session.execute(sa.delete(type(row)).where(*_still(row)).execution_options(synchronize_session=False))
    session.expunge(row)
    return int(done.rowcount) == 1  # type: ignore[attr-defined]


def _version(row: SQLModel) -> int:
    return int(row.version)  # type: ignore[attr-defined]


def _still(row: SQLModel) -> list[sa.ColumnElement[bool]]:
    mapper = sa.inspect(type(row))
    keys = [column == getattr(row, column.name) for column in mapper.primary_key]
    return [*keys, mapper.columns["version"] == _version(row)]
