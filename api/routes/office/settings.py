"""What the business decides for itself, changed part by part, and what the service was started with."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping
from typing import Annotated, Any

import msgspec
from fastapi import Path, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.engine import make_url
from sqlmodel import Session

from api.access.accounts import Role
from api.access.guards import Who, allow
from api.access.idempotency import Once
from api.business import choices
from api.business.rules import zones
from api.clock import Now
from api.http import versions
from api.http.pages import Database, SentTexts, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.http.versions import IfMatch
from api.languages import page_language, speaking, to_say
from api.office.files.sheets import to_csv
from api.office.hanging import Hanging
from api.office.lists.settings import SETTING_LISTS, table_of
from api.routes.asking import Asked
from api.routes.office.kinds import csv_answer, what_hangs
from api.settings import SETTINGS, Settings
from api.tables import Business, History

router = Subject(prefix="/settings", tags=("settings",))
Manager = Annotated[Who, allow(Role.manager)]

_JUDGED_BY = ("week", "crews", "weather", "times")  # parts by which a posted visit can fall
# What the page says in place of a value; every other one is a code or an address, the same in every language.
_IN_WORDS = (to_say("not set"), to_say("set"), to_say("this machine alone"), to_say("kept in the data folder"))


class Values(BaseModel):
    """The values that are changed, by name, as text; those left out stay as they are."""

    model_config = ConfigDict(extra="forbid", strict=True)

    values: Annotated[dict[str, str], Field(max_length=2000)]


@router.get("")
def settings(request: Request, session: Database, _: Manager) -> Response:
    """Show the parts, and what the service was started with."""
    present = session.get(Business, 1)
    names = list(choices.PARTS) if present is not None else ["business"]
    parts = [choices.PARTS[name](session) for name in names]
    started = _started(request.app.state.settings)
    if wants_json(request):
        told = {"parts": {part.id: part.title for part in parts}, "started_with": started}
        return Response(msgspec.json.encode(told), media_type="application/json")
    return page(
        request,
        "settings/settings.html",
        {"parts": parts, "started": started, "meanings": SETTINGS, "in_words": _IN_WORDS},
    )


@router.get("/{part_id}")
def part(request: Request, session: Database, _: Manager, part_id: str, kept: str = "") -> Response:
    """Show one part: each value with its meaning and unit, and the last changes."""
    shown = _part(session, part_id)
    mark = choices.mark_of(shown)
    if wants_json(request):
        return _json(shown, mark)
    return _page(request, session, shown, mark, kept=kept)


@router.post("/{part_id}", responses=responses(409, 412))
def take_form(
    request: Request, session: Database, now: Now, who: Manager, part_id: str, texts: SentTexts
) -> Response:  # fmt: skip
    """Take a part in from its form; what cannot stand is told beside its field, and what was typed is kept."""
    # A reason may be broken over lines where it is typed; it is kept in one.
    form = {name: " ".join(value.splitlines()) for name, value in texts.items()}
    sent = {name: value for name, value in form.items() if name not in ("csrf", "mark", "anyway")}
    shown = _part(session, part_id)
    mark = choices.mark_of(shown)
    if form.get("mark") != mark:
        return _page(request, session, shown, mark, sent=sent, other=True, status=412)
    try:
        with speaking(page_language()):  # as the page was written whose texts these are
            read = shown.from_page(sent)
        falls = _falls(request, now, part_id, form, lambda session: _kept(session, part_id, read, who, now))
        if falls is not None:
            return _page(request, session, shown, mark, sent=sent, falls=falls, status=409)
        done = choices.keep(session, shown, read, choices.PARTS[part_id], by=who.name, now=now)
    except choices.BadValues as fault:
        return _page(request, session, shown, mark, sent=sent, faults=fault.faults, status=422)
    if done is None:
        raise Problem(409, "Somebody changed this at the same moment; read it again.", kind="changed-meanwhile")
    return RedirectResponse(f"/settings/{part_id}?kept={len(done.fields)}", 303)


@router.get("/{part_id}/table.csv", response_class=Response)
def table_csv(session: Database, _: Manager, part_id: str) -> Response:
    """Give task times, weather limits, prices or the rules of a week as a table that can be taken in again."""
    kind = SETTING_LISTS.get(part_id)
    if kind is None:
        raise Problem(404, f'There is no table "{part_id}"; the tables are {", ".join(SETTING_LISTS)}.')
    _part(session, part_id)
    heads, rows = table_of(session, kind)
    return csv_answer(to_csv(heads, rows), f"{part_id}.csv")


@router.post("/{part_id}/undo/{line_id}", responses=responses(409))
def undo(
    request: Request, session: Database, now: Now, who: Manager, part_id: str, sent: SentTexts,
    line_id: Annotated[int, Path(ge=1, lt=2**31)],
) -> Response:  # fmt: skip
    """Take a change of a part back, where its values stand as it left them."""
    shown = _part(session, part_id)
    line = session.get(History, line_id)
    if line is None or (line.noun, line.noun_id) != ("settings", part_id):
        raise Problem(404, f'No change of these settings has the id "{line_id}".')
    texts = choices.undoing(shown, line)
    if texts is not None and not wants_json(request):
        falls = _falls(request, now, part_id, sent, lambda session: _kept(session, part_id, texts, who, now))
        if falls is not None:
            values = {"home": f"/settings/{part_id}", "title": shown.title, "hangs": falls, "what": "Undo it anyway",
                      "action": request.url.path}  # fmt: skip
            return page(request, "office/hangs.html", values, status=409)
    done = None if texts is None else choices.keep(session, shown, texts, choices.PARTS[part_id], by=who.name, now=now)
    if done is None:
        raise Problem(409, "This has been changed again since: change it by the form.", kind="changed-meanwhile")
    if wants_json(request):
        return _json(_part(session, part_id), choices.mark_of(_part(session, part_id)))
    return RedirectResponse(f"/settings/{part_id}?kept={len(done.fields)}", 303)


@router.put("/{part_id}", responses=responses(400, 409, 412, 428))
def take_json(
    session: Database,
    now: Now,
    who: Manager,
    once: Once,
    asked: Asked,
    part_id: str,
    body: Values,
    if_match: IfMatch = None,
) -> Response:
    """Change values of a part in the version that If-Match names."""

    def write() -> Response:
        shown = _part(session, part_id)
        mark, current = choices.mark_of(shown), {line.name: line.text for line in shown.lines}
        if if_match is None:
            detail = f'Send If-Match with the ETag that you have read, now "{mark}".'
            raise Problem(428, detail, kind="no-version")
        if not versions.names(if_match, mark):
            raise _changed(mark, current, body.values)
        try:
            done = choices.keep(session, shown, body.values, choices.PARTS[part_id], by=who.name, now=now)
        except choices.BadValues as fault:
            errors = [{"where": name, "problem": problem} for name, problem in fault.faults]
            detail = "; ".join(f"{name}: {problem}" if name else problem for name, problem in fault.faults)
            raise Problem(422, detail, kind="bad-input", where=fault.faults[0][0], errors=errors) from None
        if done is None:
            raise _changed(mark, current, body.values)
        after = _part(session, part_id)
        return _json(after, choices.mark_of(after))

    return once(session, asked(session, write))


def _part(session: Session, part_id: str) -> choices.Part:
    if part_id not in choices.PARTS:
        raise Problem(404, f'There is no part "{part_id}"; the parts are {", ".join(choices.PARTS)}.')
    return choices.PARTS[part_id](session)


def _changed(mark: str, current: dict[str, str], sent: dict[str, str]) -> Problem:
    detail = "Nothing was changed. Look at both versions, and send yours again with the new ETag if it still holds."
    members: dict[str, Any] = {"current": current, "sent": sent}
    return Problem(412, detail, kind="changed-meanwhile", headers={"ETag": f'"{mark}"'}, **members)


def _json(shown: choices.Part, mark: str) -> Response:
    lines = [
        {"name": n.name, "label": n.label, "unit": n.unit, "meaning": n.meaning, "choices": [v for v, _ in n.choices]}
        for n in shown.lines
    ]
    told = {"part": shown.id, "values": {line.name: line.text for line in shown.lines}, "lines": lines}
    return Response(msgspec.json.encode(told), media_type="application/json", headers={"ETag": f'"{mark}"'})


def _kept(session: Session, part_id: str, texts: Mapping[str, str], who: Who, now: datetime.datetime) -> None:
    choices.keep(session, _part(session, part_id), texts, choices.PARTS[part_id], by=who.name, now=now)


def _falls(
    request: Request, now: datetime.datetime, part_id: str, sent: Mapping[str, str], do: Callable[[Session], None]
) -> Hanging | None:
    """Return which posted visits fall by a change of a part that weeks are judged by, where it is to be seen first."""
    return what_hangs(request, now, sent, do) if part_id in _JUDGED_BY else None


def _page(
    request: Request,
    session: Session,
    shown: choices.Part,
    mark: str,
    *,
    sent: dict[str, str] | None = None,
    faults: tuple[tuple[str, str], ...] = (),
    other: bool = False,
    falls: Hanging | None = None,
    kept: str = "",
    status: int = 200,
) -> Response:
    present = session.get(Business, 1)
    values = {
        "part": shown,
        "parts": {name: make(session).title for name, make in choices.PARTS.items()} if present else {},
        "mark": mark,
        "sent": sent or {},
        "faults": dict(faults),
        "whole": [problem for name, problem in faults if not name],
        "other": other,
        "falls": falls,
        "kept": int(kept) if kept.isdecimal() and len(kept) < 5 else None,
        "changes": [(line, bool(choices.undoing(shown, line))) for line in choices.changes_of(session, shown.id)],
        "as_table": shown.id in SETTING_LISTS,
        "labels": {line.name: line.label for line in shown.lines},
        "measured": {line.name: line.measured for line in shown.lines if line.measured},
        "zones": list(zones()) if shown.id == "business" else [],
        "timezone": present.timezone if present else "UTC",
        "new": present is None,
    }
    return page(request, "settings/part.html", values, status=status)


def _started(settings: Settings) -> dict[str, str]:
    """Return what the service was started with by variable; secrets are only said to be there."""
    provider = settings.provider
    told = {
        "EAVEBOARD_OIDC_ISSUER": provider.issuer if provider else "not set",
        "EAVEBOARD_OIDC_CLIENT": provider.client if provider else "not set",
        "EAVEBOARD_OIDC_SECRET": "set" if provider and provider.secret else "not set",
        "EAVEBOARD_DATA": str(settings.data),
        "EAVEBOARD_PORT": str(settings.port),
        "EAVEBOARD_DATABASE": make_url(settings.database).render_as_string(hide_password=True),
        "EAVEBOARD_ADDRESS": settings.address or "this machine alone",
        "EAVEBOARD_SECRET": "set by the variable" if settings.secret else "kept in the data folder",
        "EAVEBOARD_SESSION_HOURS": str(settings.session_hours),
        "EAVEBOARD_CLOCK": settings.clock or "the machine's",
        "EAVEBOARD_PASSWORD_COST": "quick" if settings.quick_passwords else "careful",
    }
    for name in SETTINGS:
        field = name.removeprefix("EAVEBOARD_").lower()
        told.setdefault(name, _plain(name, getattr(settings, field, None)))
    return {name: told[name] for name in SETTINGS}


def _plain(name: str, value: object) -> str:
    if value is None or value == "":
        return "not set"
    if any(word in name for word in ("SECRET", "PASSWORD", "KEY", "TOKEN")):
        return "set"
    return re.sub(r"(://[^:/@\s]*):[^@\s]*@", r"\1:…@", str(value))  # a password in an address
