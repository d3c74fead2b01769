"""Loading in the yard: items ticked onto the van, the kit loaded with its last tick, the route out and back.

A route goes out with every kit loaded; without one only where a named person overrules that and says why.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.clock import local_day
from api.day.results import results
from api.fields.shown import crew_begins
from api.http.names import crew_called
from api.http.problems import Problem
from api.languages import ENGLISH, gettext, ngettext, speaking, to_say
from api.ledger.plans.posted_days import Act, PostedDay
from api.ledger.shelves import held_for, off_shelf
from api.papers.kits import kit_of, loaded, lock_kit, made_kit
from api.papers.needs import Needs
from api.shelf import setting_aside
from scheduler.errors import BadInput
from scheduler.kit import Condition, Kit, after_loading

WHERE = {"crate": to_say("In the crate"), "shelf": to_say("From the shelf"), "back": to_say("Tools, to come back")}


@dataclass(frozen=True)
class LoadLine:
    """One thing to tick: `item` names it on the list of its visit, for a kit where it comes from and what it is."""

    item: str
    where: str
    name: str
    quantity: int


@dataclass(frozen=True)
class Loading:
    """How far a visit's kit is: its condition (None: the visit has no kit) and the items ticked onto the van."""

    condition: Condition | None
    ticked: tuple[str, ...]


def lines_of(kit: Kit | None, needs: Needs | None = None) -> tuple[LoadLine, ...]:
    """Return what is ticked at loading: the kit, or what a visit without one takes along."""
    if kit is not None:
        return tuple(LoadLine(f"{i.where}: {i.name}", i.where, i.name, i.quantity) for i in kit.items)
    if needs is None:
        return ()
    rows = (("shelf", needs.parts), ("back", needs.equipment))
    return tuple(LoadLine(f"{where}: {name}", where, name, count) for where, of in rows for name, count in of.items())


def ticks(session: Session, day: PostedDay) -> dict[str, set[str]]:
    """Return the items ticked for the visits of a day, by visit."""
    rows = select(tables.LoadTick).where(
        tables.LoadTick.day == day.day, col(tables.LoadTick.visit_id).in_(day.visits or ("",))
    )
    found: dict[str, set[str]] = {visit: set() for visit in day.visits}
    for row in session.exec(rows):
        found[row.visit_id].add(row.item)
    return found


def tick(session: Session, day: PostedDay, visit: tables.Visit, items: Sequence[str], on: bool, act: Act) -> Loading:
    """Tick `items` of a visit's kit onto the van, or off again; the last tick of a verified kit loads it.

    What is ticked already stays as it is. Raises `BadInput` for an item that is not on the list, and answers 409 where
    something is to come off a van that has left.
    """
    lock_kit(session, visit.id)
    kit = made_kit(session, visit.id)
    listed = {line.item for line in lines_of(kit)}
    for n, item in enumerate(items):
        if item not in listed and (visit.kind == "install" or not item.startswith(("back: ", "shelf: "))):
            raise BadInput(
                f"items[{n}]",
                gettext('is not on the list of {visit}: "{item}". Open the day anew for its list.').format(
                    visit=visit.id, item=item
                ),
            )
    gone = session.get(tables.RouteOut, (day.crew_id, day.day))
    if not on and gone is not None and _has_left(session, day, visit.id):
        detail = gettext("The van has left: say on the day sheet what is missing, under “could not finish, because”.")
        raise Problem(409, detail, kind="not-now", current=_out_record(gone), sent={"off": list(items)})
    ticked = _ticked(session, day, visit.id)
    changed = [item for item in dict.fromkeys(items) if (item in ticked) is not on]
    if on:
        session.add_all(
            tables.LoadTick(
                visit_id=visit.id, day=day.day, item=item, crew_id=day.crew_id, ticked_at=act.at, ticked_by=act.by
            )
            for item in changed
        )
    elif changed:
        off = sa.delete(tables.LoadTick).where(
            col(tables.LoadTick.visit_id) == visit.id,
            col(tables.LoadTick.day) == day.day,
            col(tables.LoadTick.item).in_(changed),
        )
        session.execute(off)
    if changed:
        act.note(session, "ticked" if on else "took off", "kit", visit.id, {"items": changed, "crew": day.crew_id})
    session.flush()
    ticked = _ticked(session, day, visit.id)
    state = kit_of(session, visit) if kit is not None else None
    if state is None:
        _shelf_follows(session, day, visit.id, ticked, act)
        return Loading(None, tuple(sorted(ticked)))
    if state.condition == "verified" and listed <= ticked:
        state = after_loading(state)
        load(session, day, visit.id, act)
    elif changed and not on and loaded(session, visit.id):  # a kit whose list has grown on the van comes off it too
        unload(session, day, visit.id, act)
        state = kit_of(session, visit) or state
    return Loading(state.condition, tuple(sorted(ticked)))


def _has_left(session: Session, day: PostedDay, visit_id: str) -> bool:
    """Say whether the load that a visit's things are in has left the yard with the van, which is out already."""
    load = next((n for n, visits in enumerate(day.loads, 1) if visit_id in visits), 1)
    noted = select(tables.StopTime).where(tables.StopTime.visit_id == visit_id, tables.StopTime.day == day.day)
    return (
        load == 1
        or session.get(tables.LoadTime, (day.crew_id, day.day, load, "loaded")) is not None
        or session.exec(noted).first() is not None
    )


def _shelf_follows(session: Session, day: PostedDay, visit_id: str, ticked: set[str], act: Act) -> None:
    """Take the parts of a visit without a kit off the shelf with the last of their ticks, and back with the first."""
    on_van = off_shelf(session, [visit_id]).get(visit_id, {})
    wanted = {f"shelf: {row.item}" for row in held_for(session, visits=[visit_id])}
    if wanted and wanted <= ticked:
        setting_aside.taken(session, visit_id, day.day, by=act.by, now=act.now)
    elif any(f"shelf: {item}" not in ticked for item in on_van):
        setting_aside.returned(session, visit_id, day.day, by=act.by, now=act.now)


def load(session: Session, day: PostedDay, visit_id: str, act: Act) -> None:
    """Mark a verified kit as on the van, and take its parts from the shelf."""
    row = session.get(tables.KitState, visit_id) or tables.KitState(visit_id=visit_id, version=0)
    row.loaded_on, row.loaded_by, row.version = local_day(session, act.at), act.by, row.version + 1
    session.add(row)
    act.note(session, "loaded", "kit", visit_id, {})
    setting_aside.taken(session, visit_id, day.day, by=act.by, now=act.now)


def unload(session: Session, day: PostedDay, visit_id: str, act: Act, *, parts_too: bool = True) -> None:
    """Mark a kit as off the van again, back on the bench; `parts_too`: and its parts as back on the shelf."""
    row = session.get_one(tables.KitState, visit_id)
    row.loaded_on, row.loaded_by, row.version = None, "", row.version + 1
    session.add(row)
    act.note(session, "unloaded", "kit", visit_id, {})
    if parts_too:
        setting_aside.returned(session, visit_id, day.day, by=act.by, now=act.now)


def not_loaded(session: Session, day: PostedDay, load: int = 1) -> dict[str, str]:
    """Return the visits of one of a day's loads whose kit is not on the van, with what its condition is instead."""
    found = {}
    for visit_id in day.loads[load - 1] if load <= len(day.loads) else ():
        visit = session.get_one(tables.Visit, visit_id)
        if visit.kind != "install" or visit.state != "open":
            continue
        state = kit_of(session, visit)
        if state is None or made_kit(session, visit_id) is None:
            found[visit_id] = gettext("has no kit yet")
        elif state.condition != "loaded":
            left = len({line.item for line in lines_of(made_kit(session, visit_id))} - _ticked(session, day, visit_id))
            words = gettext("its kit is {condition}, ").format(condition=gettext(state.condition))
            count = ngettext("{n} item not ticked", "{n} items not ticked", left).format(n=left)
            found[visit_id] = count if state.condition == "verified" else f"{words}{count}"
    return found


def go_out(session: Session, day: PostedDay, overruled_by: str, overruled_why: str, act: Act) -> tables.RouteOut:
    """Note that a crew leaves the yard.

    Answers 409 where it does not go out or has left already, and where a kit is not loaded: `not_loaded` says which.
    Somebody may overrule that by name and with a reason, which are kept. Raises `BadInput` for one without the other.
    """
    check_overruled(overruled_by, overruled_why)
    if day.route is None:
        who, on = crew_begins(crew_called(session, day.crew_id)), day.day
        raise Problem(409, gettext("{crew} does not go out on {day}.").format(crew=who, day=on), kind="not-now")
    gone = session.get(tables.RouteOut, (day.crew_id, day.day))
    if gone is not None:
        raise Problem(
            409,
            gettext("That the van left has been noted already, by {who}.").format(who=gone.out_by),
            kind="changed-meanwhile",
            current=_out_record(gone),
            sent={"out_at": act.at.isoformat(), "out_by": act.by},
        )
    lacking = lacking_of(session, day, 1, overruled_by)
    row = tables.RouteOut(
        crew_id=day.crew_id,
        day=day.day,
        plan_id=day.posted.plan_id,
        out_at=act.at,
        out_by=act.by,
        not_loaded=list(lacking),
        overruled_by=overruled_by if lacking else "",
        overruled_why=overruled_why if lacking else "",
    )
    session.add(row)
    without = {"not_loaded": lacking, "overruled_by": row.overruled_by, "because": row.overruled_why}
    act.note(session, "went out", "route", route_name(day), without if lacking else {})
    shelf_follows_leaving(session, day, lacking, act)
    session.flush()
    session.refresh(row)  # a move of the shelf has everything read anew
    return row


def check_overruled(overruled_by: str, overruled_why: str) -> None:
    """Raise `BadInput` where somebody lets a van leave without saying why, or the other way round."""
    for where, text, other in (
        ("overruled_by", overruled_by, overruled_why),
        ("overruled_why", overruled_why, overruled_by),
    ):
        if other and not text:
            asked = gettext("say who decides that the van leaves without it"), gettext("say why")
            raise BadInput(where, asked[where == "overruled_why"])


def lacking_of(session: Session, day: PostedDay, load: int, overruled_by: str) -> dict[str, str]:
    """Return what `not_loaded` finds, in English, for the record; answers 409 unless somebody overrules it by name."""
    for visit_id in day.visits:
        lock_kit(session, visit_id)
    with speaking(ENGLISH):
        lacking = not_loaded(session, day, load)
    if lacking and not overruled_by:
        words = "; ".join(f"{visit}: {what}" for visit, what in not_loaded(session, day, load).items())
        detail = gettext("Not on the van: {what}. Load it, or somebody says by name why the van leaves without.")
        detail = detail.format(what=words)
        raise Problem(409, detail, kind="not-loaded", not_loaded=lacking)
    return lacking


def shelf_follows_leaving(session: Session, day: PostedDay, lacking: Iterable[str], act: Act) -> None:
    """Take from the shelf what is ticked of kits that leave incomplete, whatever they lack."""
    for visit_id in lacking:
        from_shelf = {line.item for line in lines_of(made_kit(session, visit_id)) if line.where == "shelf"}
        if from_shelf and from_shelf <= _ticked(session, day, visit_id):
            setting_aside.taken(session, visit_id, day.day, by=act.by, now=act.now)


def come_back(session: Session, day: PostedDay, act: Act) -> tables.RouteOut:
    """Note that a crew is back in the yard; kits of visits that are still to be done are off the van with that.

    Answers 409 where it has not left, or is back already.
    """
    row = session.get(tables.RouteOut, (day.crew_id, day.day))
    if row is None:
        raise Problem(409, gettext("That the van left has not been noted: note that first."), kind="not-now")
    if row.back_at is not None:
        raise Problem(
            409,
            gettext("That the van is back has been noted already."),
            kind="changed-meanwhile",
            current=_out_record(row),
            sent={"back_at": act.at.isoformat()},
        )
    row.back_at, row.version = max(act.at, row.out_at), row.version + 1
    session.add(row)
    act.note(session, "came back", "route", route_name(day), {})
    told = results(session, day.visits, day.day)
    for visit_id in day.visits:
        if session.get_one(tables.Visit, visit_id).state != "open":
            continue
        # Of a visit partly done nobody knows here what was used: what is left is counted at the bench.
        untouched = visit_id not in told or told[visit_id].outcome == "not_done"
        lock_kit(session, visit_id)
        state = session.get(tables.KitState, visit_id)
        if state is not None and state.loaded_on is not None:
            unload(session, day, visit_id, act, parts_too=untouched)
        elif untouched:
            setting_aside.returned(session, visit_id, day.day, by=act.by, now=act.now)
    session.flush()
    session.refresh(row)
    return row


def route_name(day: PostedDay) -> str:
    """Return what the history calls a crew's day."""
    return f"{day.crew_id} {day.day}"


def _out_record(row: tables.RouteOut) -> dict[str, object]:
    return row.model_dump(mode="json", exclude={"version", "plan_id"})


def _ticked(session: Session, day: PostedDay, visit_id: str) -> set[str]:
    rows = select(tables.LoadTick.item).where(tables.LoadTick.visit_id == visit_id, tables.LoadTick.day == day.day)
    return set(session.exec(rows).all())
