"""Another load of a crew's day: that it is in its yard for it, and that it is on the van, one tap each."""

from __future__ import annotations

from typing import Any, Literal

from sqlmodel import Session

from api import tables
from api.day.loading import check_overruled, lacking_of, route_name, shelf_follows_leaving
from api.ledger.days.loads import load_times
from api.ledger.plans.posted_days import Act, PostedDay

What = Literal["here", "loaded"]
WORDS: dict[str, str] = {"here": "was in the yard for another load on", "loaded": "took on another load on"}
_BACK: dict[str, str] = {"here": "took back being in the yard on", "loaded": "took back another load on"}


def note_load(
    session: Session, day: PostedDay, load: int, what: What, noted: bool, overruled: tuple[str, str], act: Act
) -> tables.LoadTime | None:
    """Note that the crew is in its yard for a load or that it has that, or take it back; what is noted first counts.

    A load is taken on with every kit in it, as the van leaves with its first: else 409, unless somebody overrules that
    by name and with a reason (`overruled`). Who has loaded was in the yard: where that is not noted, it is at the same
    moment.
    """
    found = load_times(session, [day.crew_id], day.day).get(day.crew_id, {}).get(load, {})
    if not noted:
        for one in ("loaded",) if what == "loaded" else ("loaded", "here"):
            if (row := found.get(one)) is not None:
                session.delete(row)
                act.note(session, _BACK[one], "route", route_name(day), {"load": load})
        session.flush()
        return None
    check_overruled(*overruled)
    if what not in found:
        lacking = lacking_of(session, day, load, overruled[0]) if what == "loaded" else {}
        for one in ("here",) if what == "here" else ("here", "loaded"):
            if one not in found:
                session.add(_row(day, load, one, act, lacking if one == what else {}, overruled))
                detail: dict[str, Any] = {"load": load}
                if lacking and one == what:
                    detail |= {"not_loaded": lacking, "overruled_by": overruled[0], "because": overruled[1]}
                act.note(session, WORDS[one], "route", route_name(day), detail)
        session.flush()
        shelf_follows_leaving(session, day, lacking, act)
    return session.get_one(tables.LoadTime, (day.crew_id, day.day, load, what))


def _row(
    day: PostedDay, load: int, what: str, act: Act, lacking: dict[str, str], overruled: tuple[str, str]
) -> tables.LoadTime:
    by, why = overruled if lacking else ("", "")
    return tables.LoadTime(
        crew_id=day.crew_id, day=day.day, load=load, what=what, at=act.at, noted_by=act.by,
        not_loaded=list(lacking), overruled_by=by, overruled_why=why,
    )  # fmt: skip


def told_of_loads(session: Session, day: PostedDay) -> dict[str, dict[str, Any]]:
    """Return as JSON what is noted of a crew's loads, by number: the moments, and who let it leave without what."""
    found = {}
    for load, rows in load_times(session, [day.crew_id], day.day).get(day.crew_id, {}).items():
        one: dict[str, Any] = {what: row.at.isoformat() for what, row in rows.items()}
        if (last := rows.get("loaded")) is not None and last.not_loaded:
            one |= last.model_dump(mode="json", include={"not_loaded", "overruled_by", "overruled_why"})
        found[str(load)] = one
    return found
