"""`eaveboard replan` and `offer`: a posted plan after something happened, and times that a customer could be given."""

from __future__ import annotations

import datetime
import time
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.cli.files import write_document
from api.cli.planning.plans import WeekFile, read_both
from api.cli.ready import compile_once
from api.cli.saying.voice import voice
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from scheduler import Move, Offer
    from scheduler.plan import Plan
    from scheduler.week import Week

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

FromPlan = Annotated[
    Path, typer.Option("--from", "-f", metavar="PLAN.json", help="The plan as it is posted, JSON or YAML.")
]
FreezeUntil = Annotated[
    str | None,
    typer.Option(
        "--freeze-until",
        metavar="DAY[:TIME]",
        help="What has begun by then stays, and nothing new begins before: a day's number, name or date, and HH:MM.",
    ),
]
Seed = Annotated[int, typer.Option(min=0, metavar="N", help="Seed of the search's random numbers.")]


class HoldOf(StrEnum):
    soft = "soft"
    day = "day"
    firm = "firm"


Hold = Annotated[HoldOf, typer.Option(help="How firmly visits without a booking count as told to their customers.")]
Posted = Annotated[bool, typer.Option("--posted", help="Customers know the plan: soft bookings are where it has them.")]


class Others(StrEnum):
    stay = "stay"
    move = "move"


def replan(
    week_file: WeekFile,
    plan_file: FromPlan,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="NEW.json", help="Where the new plan goes; - prints it.")],
    week_out: Annotated[
        Path | None,
        typer.Option(
            "--week-out", metavar="WEEK.json", help="Where the week as it now stands goes, to audit and show."
        ),
    ] = None,
    freeze_until: FreezeUntil = None,
    lost: Annotated[
        list[str] | None,
        typer.Option("--lost", metavar="JOB[:DAY]", help="A job that cannot be done (before DAY); may be repeated."),
    ] = None,
    away: Annotated[
        list[str] | None,
        typer.Option("--away", metavar="CREW:DAY", help="A crew that does not work that day; may be repeated."),
    ] = None,
    hold: Hold = HoldOf.soft,
    posted: Posted = False,
    seconds: Annotated[float, typer.Option(min=0, metavar="N", help="Stop after about N seconds.")] = 60.0,
    seed: Seed = 0,
) -> None:
    """Plan the rest of a posted week again: what is done stays, what customers were told moves only at a price.

    Prints who moves and why. The new plan belongs to the week as it now stands: write that with --week-out to audit
    and show the plan.
    """
    from api.cli.planning.search import kept_clean
    from scheduler import Told
    from scheduler import replan as plan_again
    from scheduler.documents import encode

    told = voice()
    told.will_write(out, week_out)
    week, plan = read_both(week_file, plan_file)
    compile_once()
    with kept_clean():
        made = plan_again(
            week,
            plan,
            freeze_until=None if freeze_until is None else _moment(week, "--freeze-until", freeze_until),
            lost=dict(_lost(week, text) for text in lost or ()),
            away=[_crew_day(week, text) for text in away or ()],
            told=Told(hold=hold.value, posted=posted),
            seconds=seconds,
            seed=seed,
            clock=time.monotonic,
        )
    write_document(out, encode(made.plan))
    if week_out is not None:
        write_document(week_out, encode(made.week))
    told.give(_replanned_json(made.week, made.plan, made.moves))
    _say_moves(made.week, made.plan, made.moves)
    if not told.aside:
        told.say(f"The plan is in {out}." if week_out is None else f"The plan is in {out}, its week in {week_out}.")


def offer(
    week_file: WeekFile,
    plan_file: FromPlan,
    job: Annotated[str, typer.Option("--job", metavar="ID", help="The job that needs a time.")],
    best: Annotated[int, typer.Option(min=1, metavar="N", help="How many times at most.")] = 5,
    others: Annotated[
        Others, typer.Option(help="Whether other visits stay where they are, or may move where that is cheaper.")
    ] = Others.stay,
    freeze_until: FreezeUntil = None,
    hold: Hold = HoldOf.soft,
    posted: Posted = False,
    seconds: Annotated[float, typer.Option(min=0, metavar="N", help="Search about N seconds, others moving.")] = 60.0,
    seed: Seed = 0,
) -> None:
    """Offer a job the cheapest times: what each costs more than the plan without it, the weather's risk, who moves.

    One time for each morning and afternoon that the job could have.
    """
    from api.cli.planning.search import kept_clean
    from scheduler import Told, warm
    from scheduler import as_it_stands as standing
    from scheduler import offer as offers

    week, plan = read_both(week_file, plan_file)
    moment = None if freeze_until is None else _moment(week, "--freeze-until", freeze_until)
    if job not in {j.id for j in week.jobs}:
        raise BadInput("--job", f"no job has the id {job}")
    now, priced, fixed = standing(week, plan, job, freeze_until=moment, told=Told(hold=hold.value, posted=posted))
    moving = others is Others.move
    compile_once()
    with kept_clean():
        kept = warm(now, clock=time.monotonic, seconds=seconds, seed=seed, fixed=fixed) if moving else None
        found = offers(now, priced, job, best=best, others_may_move=moving, kept=kept, fixed=fixed)
    told = voice()
    told.give({"week": week.id, "job": job, "others": others.value, "offers": [_offer_json(o) for o in found]})
    if not found:
        told.show(f"{job} can be given no time{'' if moving else ' with the others where they are'}.")
    for number, one in enumerate(found, 1):
        told.show(f"{number}. " + _offer_words(now, job, one))


def _day(week: Week, option: str, text: str) -> int:
    """Return the number of the day that `text` names: its number, weekday (three letters will do) or ISO date."""
    names = [(week.start_date + datetime.timedelta(days=d)) for d in range(week.days)]
    word = text.strip().lower()
    if word.isdecimal():
        found = [int(word)] if int(word) < week.days else []
    elif len(word) >= 3 and any(name.startswith(word) for name in WEEKDAYS):
        found = [d for d, date in enumerate(names) if WEEKDAYS[date.weekday()].startswith(word)]
    else:
        found = [d for d, date in enumerate(names) if date.isoformat() == word]
    if len(found) > 1:
        raise BadInput(option, f"{text} names {len(found)} days of this week; give the date")
    if not found:
        last = names[-1].isoformat()
        raise BadInput(option, f"{text} is no day of this week, 0 to {week.days - 1}, {names[0].isoformat()} to {last}")
    return found[0]


def _moment(week: Week, option: str, text: str) -> tuple[int, int]:
    day, _, clock = text.partition(":")
    hours, _, minutes = clock.partition(":")
    if clock and not (hours.isdecimal() and minutes.isdecimal() and len(minutes) == 2 and int(minutes) < 60):
        raise BadInput(option, f"{clock} is no time; write DAY or DAY:HH:MM, such as tue:10:30")
    return _day(week, option, day), 60 * int(hours) + int(minutes) if clock else 0


def _lost(week: Week, text: str) -> tuple[str, int | None]:
    if text in {j.id for j in week.jobs} or ":" not in text:
        return text, None
    job, _, day = text.rpartition(":")
    return job, _day(week, "--lost", day)


def _crew_day(week: Week, text: str) -> tuple[str, int]:
    crew, colon, day = text.rpartition(":")
    if not colon:
        raise BadInput("--away", f"{text} names no day; write CREW:DAY, such as {text}:tue")
    return crew, _day(week, "--away", day)


def _say_moves(week: Week, plan: Plan, moves: tuple[Move, ...]) -> None:
    from api.cli.saying.words import count, gap_words, money, plain
    from scheduler import move_sentence as sentence
    from scheduler.reports.gap import gap

    moving = [m for m in moves if m.what != "stays"]
    for move in moving:
        voice().show(plain(sentence(week, move)))
    staying = len(moves) - len(moving)
    voice().say(
        f"{count(len(moving), 'job')} {'changes' if len(moving) == 1 else 'change'}, {staying} stay as they are."
    )
    words = gap_words(plan.cost.total, plan.bound, gap(week, plan))
    voice().say(f"The plan costs {money(plan.cost.total)}; {words}")


def _spot(spot: Any) -> dict[str, Any] | None:
    return None if spot is None else {"crew": spot.crew, "day": spot.day, "start": spot.start}


def _replanned_json(week: Week, plan: Plan, moves: tuple[Move, ...]) -> dict[str, Any]:
    return {
        "week": week.id,
        "cost": plan.cost,
        "bound": plan.bound,
        "moves": [
            {
                "job": m.job,
                "what": m.what,
                "before": _spot(m.before),
                "after": _spot(m.after),
                "cause": m.cause,
                "others": m.others,
            }
            for m in moves
        ],
    }


def _offer_json(one: Offer) -> dict[str, Any]:
    return {
        "crew": one.crew,
        "day": one.day,
        "start": one.start,
        "earliest": one.earliest,
        "latest": one.latest,
        "window": one.window,
        "risk_share": one.risk_share,
        "cost_cents": one.cost_cents,
        "extra_cents": one.extra_cents,
        "moves": [
            {"job": job, "what": what, "before": _spot(before), "after": _spot(after)}
            for job, (what, before, after) in one.moves.items()
        ],
        "besides_cents": one.besides_cents,
        "as_planned": one.as_planned,
        "proven": one.proven,
    }


def _offer_words(week: Week, job: str, one: Offer) -> str:
    from api.cli.saying.words import money, plain
    from scheduler.week import clock_time, day_name

    spread = f" to {clock_time(one.latest)}" if one.latest > one.earliest else ""
    words = f"{day_name(week, one.day)}, start {clock_time(one.earliest)}{spread}, {one.crew}: "
    words += f"{money(abs(one.extra_cents))} {'less' if one.extra_cents < 0 else 'more'}"
    window = f"{clock_time(one.window.start)} to {clock_time(one.window.end)}"
    words += f"; work window {window}, weather risk {money(one.window.risk_cents)}"
    if one.risk_share is not None:
        words += f" ({100 * one.risk_share:.1f} % of what letting it wait costs)"
    if one.as_planned:
        words += "; as planned now"
    if one.besides_cents:
        words += f"; besides, planning again would save {money(one.besides_cents)}"
    if one.moves:
        words += "; moves " + ", ".join(f"{name} ({what})" for name, (what, _, _) in one.moves.items())
    return plain(words + ("" if one.proven else "; not proven cheapest"))
