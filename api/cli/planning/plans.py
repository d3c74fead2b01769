"""`eaveboard plan`, `audit` and `show`: a week file in, a plan file out, and both before people's eyes."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli.files import STANDARD, read_structured, write_document
from api.cli.ready import compile_once
from api.cli.saying.voice import voice

if TYPE_CHECKING:
    from scheduler.audit import Verdict
    from scheduler.plan import Plan
    from scheduler.week import Week

WeekFile = Annotated[Path, typer.Argument(metavar="WEEK.json", help="The week, JSON or YAML; - reads standard input.")]
PlanFile = Annotated[Path, typer.Argument(metavar="PLAN.json", help="The plan, JSON or YAML; - reads standard input.")]


class SortOrder(StrEnum):
    crew = "crew"
    day = "day"


def plan(
    week_file: WeekFile,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="PLAN.json", help="Where the plan goes; - prints it.")],
    seconds: Annotated[
        float, typer.Option(min=0, metavar="N", help="Stop after about N seconds, with the best plan found by then.")
    ] = 60.0,
    until_proven: Annotated[
        bool, typer.Option("--until-proven", help="Stop only when no cheaper plan can exist, however long it takes.")
    ] = False,
    seed: Annotated[int, typer.Option(min=0, metavar="N", help="Seed of the search's random numbers.")] = 0,
    fair_up_to: Annotated[
        int | None,
        typer.Option(min=0, metavar="CENTS", help="Then spread overtime among the crews, for at most CENTS more."),
    ] = None,
) -> None:
    """Plan a week: who goes where and when, at least cost, with a proven bound on how much better it could be.

    The search shows its cost, bound and gap as it goes. Ctrl-C ends it early and keeps the best plan found so far;
    a second Ctrl-C gives up at once.
    """
    from api.cli.planning.search import search, spread
    from scheduler.audit import audit as judge
    from scheduler.documents import encode
    from scheduler.reports.gap import gap
    from scheduler.week import read_week

    told = voice()
    told.will_write(out)
    week = read_structured(week_file, read_week)
    compile_once()
    made, stopped = search(week, seconds=None if until_proven else seconds, seed=seed)
    if fair_up_to is not None and not stopped:
        made, stopped = spread(week, made, fair_up_to, seconds=None if until_proven else seconds, seed=seed)
    verdict = judge(week, made)
    if not verdict.ok:
        for breach in verdict.broken_rules:
            typer.echo(breach.sentence, err=True)
        typer.echo("The plan that was found breaks the rules above and was not written. This is a defect.", err=True)
        raise typer.Exit(1)
    write_document(out, encode(made))
    if stopped:
        told.note("Stopped on your word; the plan is the best found so far.")
    chances = gap(week, made)
    told.give(
        {
            "week": week.id,
            "plan": str(out),
            "stopped": stopped,
            "seconds": made.seconds,
            "planned": len(week.jobs) - len(made.skipped),
            "waiting": len(made.skipped),
            "cost": made.cost,
            "bound": made.bound,
            "gap_percent": chances.of_total,
            "gap_percent_of_influenced": chances.of_influenced,
        }
    )
    from api.cli.saying.words import gap_words, money

    words = f"Planned {len(week.jobs) - len(made.skipped)} of {len(week.jobs)} jobs for {money(made.cost.total)}"
    told.say(f"{words}; {gap_words(made.cost.total, made.bound, chances)}")
    for sentence in _promises_not_kept(week, made):
        told.say(sentence)
    if out != STANDARD:
        told.say(f"The plan is in {out}; read it with: eaveboard show {out} --week {week_file}")


def audit(
    week_file: WeekFile,
    plan_file: PlanFile,
) -> None:
    """Judge a plan: every rule that it breaks, in words, and what it really costs.

    Exits with 0 where the plan keeps every rule and states its cost rightly, with 1 where it does not.
    """
    from api.cli.saying.words import plain
    from scheduler.audit import audit as judge

    week, plan = read_both(week_file, plan_file)
    verdict = judge(week, plan)
    told = voice()
    told.give({"ok": verdict.ok, "broken_rules": verdict.broken_rules, "cost": verdict.cost, "bound": plan.bound})
    for breach in verdict.broken_rules:
        told.show(plain(f"{breach.rule}: {breach.sentence}"))
    (told.say if verdict.ok else told.show)(_summary(week, plan, verdict))
    if not verdict.ok:
        raise typer.Exit(1)


def show(
    plan_file: PlanFile,
    week_file: Annotated[Path, typer.Option("--week", "-w", metavar="WEEK.json", help="The week file of the plan.")],
    by: Annotated[SortOrder, typer.Option(help="One table for each crew, or for each day.")] = SortOrder.day,
) -> None:
    """Show a plan as a week sheet: each crew's day with its times, the waiting pile, and the cost by kind."""
    from scheduler.reports.sheet import sheet

    week, plan = read_both(week_file, plan_file)
    laid_out = sheet(week, plan)
    voice().give(laid_out)
    if voice().as_json:
        return
    from api.cli.planning.tables import print_sentences, print_sheet

    print_sheet(laid_out, by_day=by is SortOrder.day)
    if not laid_out.breaches:
        print_sentences(_promises_not_kept(week, plan))


def _promises_not_kept(week: Week, plan: Plan) -> list[str]:
    """Return a sentence on each promise that the plan does not keep; the plan keeps all rules."""
    if not plan.broken:
        return []
    from api.cli.saying.words import plain
    from scheduler import why_not_kept as promises  # loads the engine: only where there is something to say

    return [plain(sentence) for sentence in promises(week, plan).values()]


def read_both(week_file: Path, plan_file: Path) -> tuple[Week, Plan]:
    """Return week and plan of the two files, of which one may be standard input; raises `BadInput`."""
    from scheduler.plan import read_plan
    from scheduler.week import read_week

    return read_structured(week_file, read_week), read_structured(plan_file, read_plan)


def _summary(week: Week, plan: Plan, verdict: Verdict) -> str:
    from api.cli.saying.words import count, money
    from scheduler.reports.gap import gap

    if not verdict.ok:
        return (
            f"The plan is broken in {count(len(verdict.broken_rules), 'place')}; it costs {money(verdict.cost.total)}."
        )
    from api.cli.saying.words import gap_words

    return f"The plan keeps every rule and costs {money(plan.cost.total)}; " + gap_words(
        plan.cost.total, plan.bound, gap(week, plan)
    )
