"""The kinds that a business has, in the order in which it enters them: each a declaration of its columns."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.files.cells import hours_text
from api.fields.files.sheets import Span, hours
from api.fields.items import item_name
from api.fields.limits import limit
from api.fields.shown import DAY_MIN, times_written
from api.languages import to_say
from api.maker.orders import NOUN, WHOLE, check_order, keep_order
from api.office.checks import CREW_USERS, PERSON_USERS, VAN_USERS, YARD_USERS, check_crew, check_yard, known
from api.office.kind import (
    Kind,
    KindColumn,
    Values,
    awning_column,
    counted,
    day,
    driving,
    listed,
    measure,
    money,
    names,
    plain,
    switch,
    weight,
    working_days,
)  # fmt: skip
from api.office.lists.columns import MOTORS, WORK
from api.office.work_kinds import OF_WORK, job_said
from api.places.kept import kept_answer
from api.shelf import moving
from scheduler.errors import BadInput

_SHORT = to_say("short, as plans and lists say it, such as {example}; it stays as it is")
_LANGUAGES = (("", "the business's"), ("en", "English"), ("es", "Spanish"))
_START = ("start", "starts", "starting", "begin", "begins", "first day", "out from", "date")
_END = ("end", "ends", "ending", "until", "till", "through", "last day", "back on", "to")
_WHY = ("reason", "because", "note", "notes", "remarks", "comment")
_PARTS = {
    "am": "morning", "a m": "morning", "mornings": "morning", "first half": "morning", "pm": "afternoon",
    "p m": "afternoon", "afternoons": "afternoon", "second half": "afternoon", "full": "day", "full day": "day",
    "all day": "day", "whole day": "day",
}  # fmt: skip
_GATE_STATES = {
    word: state
    for state, words in (
        ("closed", "done ok okay yes granted approved received paid complete completed cleared passed"),
        ("open", "pending waiting requested applied submitted no outstanding"),
    )
    for word in words.split()
}
_MAKER = ("manufacturer", "supplier", "vendor", "factory")
_PART_HEADS = ("part", "part name", "article", "part no")
_PART = (("day", "the whole day"), ("morning", "until noon"), ("afternoon", "from noon on"))


def _named(table: str, example: str, label: str = "Short name", **more: Any) -> KindColumn:
    return plain(table, "id", label, meaning=_SHORT, example=example, **more)


def _from_to(table: str) -> tuple[KindColumn, ...]:
    return day(table, "first", "From", aliases=_START), day(
        table, "last", "To, included", like="first", meaning="empty: that day alone", aliases=_END
    )


def _in_order(session: Session, key: str | None, values: Values) -> None:
    if values["last"] < values["first"]:
        raise BadInput("last", f"must not come before {values['first']}, is {values['last']}")


def weekly(text: str, _: str = "") -> str:
    """Return a crew's hours as they are kept in words; raises `BadInput`."""
    return hours_text(sorted(spans_of(text).items()))


def spans_of(text: str) -> dict[int, Span]:
    """Return (start, end) by weekday of a text such as "Mon-Fri 7:30-16:30"; raises `BadInput`."""
    found: dict[int, Span] = {}
    for weekday, span in hours(text):
        if not isinstance(weekday, int):
            raise BadInput("", "must name weekdays and no dates; days off belong to the people")
        if weekday in found:
            raise BadInput("", "must give each weekday once")
        found[weekday] = span
    return found


def _crew(session: Session, key: str | None, values: Values) -> None:
    spans = spans_of(values["hours"])
    check_crew(session, key, values, list(spans))
    if max((end for _, end in spans.values()), default=0) + values["overtime"] > DAY_MIN:
        raise BadInput("overtime", "goes past midnight after the latest end of these hours")


def _crew_hours(session: Session, rows: Sequence[Any]) -> dict[Any, Values]:
    spans: dict[str, list[tables.CrewHours]] = {row.id: [] for row in rows}
    for span in session.exec(select(tables.CrewHours).where(col(tables.CrewHours.crew_id).in_(list(spans)))):
        spans[span.crew_id].append(span)
    return {
        name: {
            "hours": hours_text(sorted((s.weekday, (s.start, s.end)) for s in of)),
            "overtime": max((s.overtime for s in of), default=0),
        }
        for name, of in spans.items()
    }


def _put_hours(session: Session, row: Any, values: Values, by: str, now: datetime.datetime) -> None:
    session.execute(sa.delete(tables.CrewHours).where(col(tables.CrewHours.crew_id) == row.id))
    session.add_all(
        tables.CrewHours(crew_id=row.id, weekday=weekday, start=start, end=end, overtime=values["overtime"])
        for weekday, (start, end) in sorted(spans_of(values["hours"]).items())
    )
    session.flush()


def _by_hand(session: Session, row: Any, values: Values, by: str, now: datetime.datetime) -> None:
    """Have a day off stay whatever becomes of the calendar that it came from: somebody has said so themselves."""
    row.calendar_id = None
    session.flush()


def _put_shelf(session: Session, row: Any, values: Values, by: str, now: datetime.datetime) -> None:
    """Keep a shelf's count as a move; `on_hand` is changed with one only."""
    begun = select(tables.StockMove.id).where(
        tables.StockMove.item == row.item, tables.StockMove.yard_id == row.yard_id
    )  # fmt: skip
    if session.exec(begun.limit(1)).first() is None:
        moving.begin(session, row, by=by, now=now)
    elif row.on_hand != values["on_hand"]:
        moving.count_to(session, (row.item, row.yard_id), values["on_hand"], by=by, now=now)


def _job(text: str, _: str) -> str:
    return str(limit("gate.visit_id").parse(job_said(text)))


def _job_there(session: Session, key: str | None, values: Values) -> None:
    known(session, tables.Visit, "visit_id", values["visit_id"], "job")


def _awning_there(session: Session, key: str | None, values: Values) -> None:
    known(session, tables.Awning, "awning_id", values["awning_id"], "awning")


def _yard_place(session: Session, texts: dict[str, str]) -> None:
    """Fill in the place of a yard from its address, where a file gives none; raises `BadInput` where it is not sure."""
    if texts.get("lat") or texts.get("lon") or not texts.get("address"):
        return
    answer = kept_answer(session, texts["address"], "")
    if answer is None:
        raise BadInput(
            "address", "its place could not be looked up: look again in a moment, or make the yard by its form"
        )
    if answer.sure is None:
        raise BadInput("address", f"its place is not sure: {answer.words} Make the yard by its form, with its pin")
    texts["lat"], texts["lon"] = f"{answer.sure.lat:.6f}", f"{answer.sure.lon:.6f}"


def _part_name(session: Session, texts: dict[str, str]) -> None:
    """Have a part that a file gives one name for be called so in lists, too, and the other way round."""
    one, other = texts.get("item", ""), texts.get("name", "")
    texts |= {"item": one or other, "name": other or one}


# The gate of a paper, where that was not taken away: such a paper keeps its gate.
_STANDING = sa.case((col(tables.GatePaper.taken_away_at).is_(None), col(tables.GatePaper.gate_id)))
_AT_YARD = names("yard_id", "Yard", "yards", aliases=("where", "based at", "location", "depot", "shop", "warehouse"))
_KINDS = (
    Kind("yards", "Yards", "yard", tables.Yard, "Where crews start and crates lie.", (
        _named("yard", "north"),
        plain("yard", "name", "Name"),
        plain("yard", "address", "Address", meaning="street, number and town, such as 4 Quarry Road, Tallow Bend",
              wide=True, aliases=("street", "where")),
        plain("yard", "lat", "Latitude", short_list=False),
        plain("yard", "lon", "Longitude", short_list=False),
    ), users=YARD_USERS, complete=_yard_place),
    Kind("people", "People", "person", tables.Person, "Everybody who works here, and what they can do.", (
        _named("person", "lea"),
        plain("person", "name", "Name", aliases=("full name", "employee", "who", "worker", "staff")),
        _AT_YARD,
        plain("person", "role", "Role", meaning="a lead leads a crew; an extra is a helper called for a day",
              aliases=("position", "job", "job title", "title", "function")),
        plain("person", "phone", "Phone", hint={"maxlength": "40", "type": "tel"},
              aliases=("cell", "mobile", "telephone", "tel", "cell phone", "mobile phone")),
        listed("person", "skills", "Skills",
               meaning="small letters, blanks between: masonry, stucco, roof-mount, motor-setup, or words of your own",
               aliases=("can do", "knows", "trades")),
        switch("learner", "Learner", False, meaning="rides along: one more person, whose skills do not count yet",
               short_list=False, aliases=("trainee", "apprentice")),
        switch("experienced", "Takes learners", True, meaning="a lead with whom a learner may ride", short_list=False),
        plain("person", "weekly_hours", "Most hours a week", meaning="Monday to Sunday; empty: no such limit",
              may_be_empty=True, short_list=False),
        working_days("person", "weekdays", "Usual days", meaning="such as Mon-Fri, or Tue Thu", start="Mon-Fri",
                     aliases=("working days", "weekdays", "days usually worked", "days worked", "days", "work days")),
        money("person", "day_cents", "A day, $", meaning="what a day of a helper costs who is called for it", start="0",
              aliases=("day rate", "daily rate", "per day", "daily pay")),
        switch("active", "Works here", True, short_list=False),
        plain("person", "language", "Language", choices=_LANGUAGES, may_be_empty=True, empty="", short_list=False,
              meaning="in which day sheets, steps and cautions are read"),
    ), check=check_yard, users=PERSON_USERS, parts=(tables.DayOff.person_id,)),
    Kind("days-off", "Days off", "day off", tables.DayOff, "Who is away when, whole days and half ones.", (
        names("person_id", "Who", "people", owner=True, aliases=("name", "employee", "person")),
        *_from_to("day_off"),
        plain("day_off", "part", "Of each day", choices=_PART, start="day", words=_PARTS,
              aliases=("half", "half day", "am or pm", "am pm", "part of day", "which half")),
        plain("day_off", "why", "Why", aliases=_WHY),
    ), key=("person_id", "first", "part"), made_id=True, check=_in_order, put=_by_hand),
    Kind("vans", "Vans", "van", tables.Van, "What they carry, and what stays on them.", (
        _named("van", "van-3", aliases=("van", "vehicle", "truck", "unit")),
        _AT_YARD,
        weight("van", "payload_kg", "Payload", meaning="such as 2000 lb or 900 kg",
               aliases=("carries", "load", "capacity", "payload lbs", "payload kg")),
        measure("van", "rack_mm", "Rack", meaning="the longest box that it takes, such as 20 ft or 6100 mm",
                aliases=("rack length", "rack ft", "longest box")),
        plain("van", "boxes", "Long boxes", meaning="how many it takes"),
        counted("van", "onboard", "Stays on it", meaning="such as ladder-24: 2, stepladder-8: 1; empty: nothing",
                aliases=("on board", "ladders on it", "carried on it", "equipment on it", "kept on it")),
    ), check=check_yard, users=VAN_USERS, parts=(tables.VanOut.van_id,)),
    Kind("van-days", "Days without a van", "van's day out", tables.VanOut, "When a van is in the shop.", (
        names("van_id", "Van", "vans", owner=True, aliases=("vehicle", "truck")),
        *_from_to("van_out"),
        plain("van_out", "why", "Why", aliases=_WHY),
    ), key=("van_id", "first"), made_id=True, check=_in_order, put=_by_hand),
    Kind("crews", "Crews", "crew", tables.Crew, "Who rides together in which van, when, and what it costs.", (
        _named("crew", "river-2"),
        plain("crew", "name", "Name"),
        _AT_YARD,
        names("lead_id", "Lead", "people"),
        names("helper_id", "Second person", "people", may_be_empty=True, meaning="empty: the lead rides alone"),
        names("van_id", "Usual van", "vans"),
        KindColumn("hours", "Hours", weekly, shown=times_written, may_be_empty=True, empty="",
                   start="Mon-Fri 7:30-16:30", wide=True,
                   hint={"maxlength": "400"}, meaning="such as Mon-Fri 7:30-16:30; Sat 8:00-13:00; the rest is free"),
        KindColumn("overtime", "Longest over, min", lambda text, _: limit("crew_hours.overtime").parse(text),
                   start="60", hint=limit("crew_hours.overtime").attributes(),
                   meaning="at most so many minutes past the end", short_list=False),
        money("crew", "day_cents", "A day out, $", short_list=False),
        money("crew", "minute_cents", "A minute, $", short_list=False),
        money("crew", "overtime_minute_cents", "A minute over, $ more", short_list=False),
        driving("crew", "km_cents", short_list=False,
                aliases=("a mile, $", "a km, $", "per mile", "per km", "mileage")),
        switch("outside", "Subcontractor", False, meaning="people of another business, with hours of their own",
               short_list=False),
        money("crew", "visit_cents", "A visit, $", start="0", short_list=False,
              meaning="what a subcontractor gets for each; shown beside the plan, which is made without it"),
        switch("active", "Goes out", True, short_list=False),
    ), check=_crew, also=_crew_hours, put=_put_hours, own=("hours", "overtime"), users=CREW_USERS,
        parts=(tables.CrewHours.crew_id,)),
    Kind("tools", "Ladders and tools", "piece of equipment", tables.Equipment,
         "What the crews of a yard share: each ladder, lift and tool.", (
        _named("equipment", "L-3", "Tag", aliases=("asset tag", "asset", "tag no", "number")),
        plain("equipment", "kind", "Kind", shown=item_name,
              meaning="as jobs ask for it, such as ladder-24, stepladder-8, scaffold", aliases=("type",)),
        _AT_YARD,
        plain("equipment", "name", "Name", meaning="such as 24 ft, yellow", aliases=("description", "what")),
        day("equipment", "checked_on", "Last checked", may_be_empty=True,
            aliases=("last inspection", "inspected", "last inspected", "inspection date", "checked")),
        switch("active", "In use", True, short_list=False),
    ), check=check_yard, parts=(tables.OutOfService.equipment_id,)),
    Kind("out-of-order", "Out of order", "day out of order", tables.OutOfService,
         "Days on which a ladder or a tool cannot be taken.", (
        names("equipment_id", "Which", "tools", owner=True, aliases=("tag", "tool", "ladder", "equipment", "asset")),
        *_from_to("out_of_service"),
        plain("out_of_service", "why", "Why", aliases=_WHY),
    ), key=("equipment_id", "first"), made_id=True, check=_in_order),
    Kind("shelf", "Shelf parts", "shelf", tables.StockItem, "What each yard keeps on its shelf, as last counted.", (
        plain("stock_item", "item", "Item", meaning="as parts lists name it", shown=item_name,
              aliases=("part", "part name", "article", "part no", "part number", "item no", "sku")),
        _AT_YARD,
        plain("stock_item", "name", "Name", shown=item_name, aliases=("description", "item name")),
        plain("stock_item", "on_hand", "Counted",
              aliases=("on hand", "quantity", "qty", "pieces", "count", "in stock", "qty on hand")),
        day("stock_item", "counted_on", "Counted on", aliases=("date", "count date", "date counted")),
    ), called="shelf part", key=("item", "yard_id"), complete=_part_name, check=check_yard, put=_put_shelf,
        own=("on_hand",), users={}),
    Kind("models", "Models", "model", tables.AwningModel, "The makers' awnings that are sold here.", (
        plain("awning_model", "id", "Model", meaning="as orders name it, such as Fen 12", aliases=("name",)),
        plain("awning_model", "maker", "Maker", aliases=_MAKER),
        plain("awning_model", "boxes", "Long boxes", start="1"),
        measure("awning_model", "box_over_mm", "Box longer by", start="12 in",
                meaning="how much longer its box is than the awning is wide", aliases=("box over width",)),
        KindColumn("motor", "Motor", lambda text, _: limit("awning_model.motor").parse(text), may_be_empty=True,
                   choices=(("", "a crank"), ("left", "motor left"), ("right", "motor right")), words=MOTORS,
                   aliases=("drive", "motor side", "operation")),
    ), parts=(tables.ModelSize.model_id, tables.ModelPart.model_id)),
    Kind("model-sizes", "Sizes of models", "size of a model", tables.ModelSize,
         "What a model weighs and needs, up to a width and a projection.", (
        names("model_id", "Model", "models", owner=True),
        measure("model_size", "width_mm", "Width up to", aliases=("max width", "width")),
        measure("model_size", "projection_mm", "Projection up to", aliases=("max projection", "projection", "proj")),
        weight("model_size", "weight_kg", "Weight", meaning="with its brackets", aliases=("lb", "lbs", "pounds", "kg")),
        plain("model_size", "arms", "Arms", start="2"),
        plain("model_size", "brackets", "Brackets", start="3"),
    ), key=("model_id", "width_mm", "projection_mm"), made_id=True),
    Kind("model-parts", "Parts lists of models", "part of a model", tables.ModelPart,
         "What the maker packs with each awning of a model, beside its brackets.", (
        names("model_id", "Model", "models", owner=True),
        plain("model_part", "item", "Item", aliases=_PART_HEADS),
        plain("model_part", "quantity", "Pieces", start="1", aliases=("quantity", "qty")),
        plain("model_part", "per", "For each", start="awning",
              choices=(("awning", "awning"), ("arm", "arm"), ("bracket", "bracket"))),
    ), key=("model_id", "item")),
    *OF_WORK,
    Kind("gates", "Gates", "gate", tables.Gate, "What must be true before a visit: permits, outlets, deposits.", (
        KindColumn("visit_id", "Job", _job, hint={"maxlength": "80"}, meaning="its number, such as J-1042", owner=True,
                   aliases=("job no", "job number", "visit")),
        plain("gate", "what", "What", meaning="such as building permit, outlet, deposit, order confirmed",
              aliases=("requirement", "gate", "needed", "what is needed")),
        plain("gate", "owner", "Who sees to it", aliases=("responsible", "owner", "who", "assigned to")),
        day("gate", "due_on", "Due", may_be_empty=True, aliases=("deadline", "due date", "by", "needed by"),
            meaning="the day by which it should be there; empty: by the visit's day where it is usual, else unknown"),
        plain("gate", "state", "State", start="open", choices=(("open", "open"), ("closed", "closed")),
              words=_GATE_STATES, aliases=("status",)),
        plain("gate", "paper", "Paper", meaning="where its proof is: a permit's number, a folder",
              aliases=("permit no", "permit number", "proof", "reference")),
    ), key=("visit_id", "what"), made_id=True, check=_job_there,
       users={"files": _STANDING}, parts=(tables.GatePaper.gate_id,)),
    Kind("usual-gates", "Usual gates", "usual gate", tables.GateRule, "What a new job of a kind waits for.", (
        names("kind", "Kind of work", "work-kinds", start="install"),
        plain("gate_rule", "town", "Town", meaning="empty: in any town"),
        plain("gate_rule", "what", "What"),
        plain("gate_rule", "owner", "Who sees to it"),
        plain("gate_rule", "days_before", "Due, days before", start="7", meaning="the day by which the visit is due"),
    ), key=("kind", "town", "what"), made_id=True),
    Kind("maker-orders", "Orders to makers", NOUN, tables.MakerOrder,
         "What was ordered of a maker, the day that was promised, and whether it came.", (
        awning_column("maker_order", owner=True),
        plain("maker_order", "what", "What is ordered", start=WHOLE, meaning="or new cloth, a valance, an arm"),
        plain("maker_order", "maker", "Maker", aliases=_MAKER),
        plain("maker_order", "email", "Its e-mail", may_be_empty=True, empty="", short_list=False),
        plain("maker_order", "ref", "Its number", meaning="of the order, as the maker says it",
              aliases=("order no", "order number", "reference", "po", "po number", "confirmation no")),
        day("maker_order", "sent_on", "Sent", may_be_empty=True, aliases=("ordered", "ordered on", "order date")),
        day("maker_order", "confirmed_on", "Confirmed", may_be_empty=True, aliases=("confirmed on", "confirmation")),
        day("maker_order", "promised_on", "Promised for", may_be_empty=True,
            meaning="the day that the maker named first; empty: none yet",
            aliases=("promised", "delivery date", "delivery", "ship date", "eta", "expected")),
        day("maker_order", "changed_to", "Changed to", may_be_empty=True, meaning="the newest day; empty: not changed",
            aliases=("new date", "new day", "revised", "revised date", "now expected")),
        day("maker_order", "came_on", "Came", may_be_empty=True,
            aliases=("received", "arrived", "delivered", "received on", "arrived on", "delivered on")),
        plain("maker_order", "note", "Note", short_list=False, wide=True),
    ), key=("awning_id", "what"), made_id=True, check=check_order, put=keep_order),
    Kind("packed", "Packed with an awning", "part packed with an awning", tables.MakerPart,
         "The maker's list of each awning: what its crate is counted against.", (
        awning_column("maker_part"),
        plain("maker_part", "item", "Item", aliases=_PART_HEADS),
        plain("maker_part", "quantity", "Pieces", start="1", aliases=("quantity", "qty")),
    ), key=("awning_id", "item"), check=_awning_there),
)  # fmt: skip
KINDS: dict[str, Kind] = {kind.id: kind for kind in (*_KINDS, *WORK)}
