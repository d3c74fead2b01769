"""`eaveboard crews`: people on a roster become the crews of a week, in pairs by day."""

from __future__ import annotations

from pathlib import Path
from time import monotonic
from typing import Annotated

import typer

from api.cli.files import read_structured, write_document
from api.cli.saying.voice import voice


def crews(
    roster_file: Annotated[
        Path, typer.Argument(metavar="ROSTER.json", help="The roster, JSON or YAML; - reads standard input.")
    ],
    week_file: Annotated[
        Path, typer.Option("--week", "-w", metavar="WEEK.json", help="The week without its crews, JSON or YAML.")
    ],
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="WEEK2.json", help="Where the week with them goes; - prints it.")
    ],
    seconds: Annotated[
        float,
        typer.Option(min=0, metavar="N", help="Plan the week and exchange partners where it pays, for N seconds."),
    ] = 0.0,
) -> None:
    """Form the crews of a week from people: pairs for each day, a lead in each, usual partners kept unless it pays.

    Says who rides with whom, and why where it is not as usual.
    """
    from api.cli.saying.words import count, plain
    from scheduler.documents import encode
    from scheduler.roster.document import read_roster
    from scheduler.roster.forming import form_crews
    from scheduler.roster.repair import repair
    from scheduler.week import day_name, read_week

    told = voice()
    told.will_write(out)
    roster = read_structured(roster_file, read_roster)
    week = read_structured(week_file, read_week)
    formed = form_crews(roster, week)
    exchanges: tuple[str, ...] = ()
    if seconds:
        found = repair(roster, week, formed, seconds=seconds, clock=monotonic)
        formed, exchanges = found.formed, found.exchanges
    write_document(out, encode(formed.week))
    people = {p.id: p.name for p in roster.people}
    changed = [p for p in formed.pairings if not p.usual]
    told.give(
        {
            "week": str(out),
            "crew_days": len(formed.pairings),
            "not_as_usual": [{"crew": p.crew, "lead": p.lead, "because": p.because} for p in changed],
            "exchanges": exchanges,
            "unpaired": [{"day": day, "person": who} for day, who in formed.unpaired],
        }
    )
    usual = len(formed.pairings) - len(changed)
    told.say(f"{count(usual, 'crew-day')} of {len(formed.pairings)} in the usual pairs.")
    for pairing in changed:
        name = "" if pairing.crew == pairing.lead else f" (crew {pairing.crew})"
        told.say(plain(pairing.because + name))
    for sentence in exchanges:
        told.say(plain(sentence))
    for day, who in formed.unpaired:
        told.say(plain(f"{people[who]} has no pair on {day_name(formed.week, day)}."))
