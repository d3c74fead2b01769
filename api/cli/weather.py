"""`eaveboard weather`: forecasts, work windows, limits and the backtest on the command line."""

from __future__ import annotations

import datetime
import enum
import os
import zoneinfo
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from api.cli.files import make_folder, on_disk, read_document, text_of, write_document
from api.cli.saying.command import Command
from api.cli.saying.voice import voice
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from api.forecasts.sources import Got
    from scheduler.weather.limits import LimitTable

# The weather modules and the web client are imported by the commands: `--help` must not wait for them.
app = typer.Typer(help="Forecasts, work windows and what the weather costs.", no_args_is_help=True)


class Touchy(enum.StrEnum):
    """What makes work touchier in the weather, as `WeatherWork` has it."""

    tall_ladder = "tall-ladder"
    large_awning = "large-awning"
    sealant = "sealant"


SourceKind = Literal["file", "nws", "open-meteo"]
Lat = Annotated[float, typer.Option(help="Degrees north of the site.", min=-90, max=90)]
Lon = Annotated[float, typer.Option(help="Degrees east of the site (west is negative).", min=-180, max=180)]
From = Annotated[SourceKind, typer.Option("--from", help="Where the forecast comes from.")]
Address = Annotated[
    str,
    typer.Option(help="The CSV file (- reads standard input), or the service's address where it is not the usual one."),
]
Contact = Annotated[str, typer.Option(help="E-mail or web address sent to the service, which asks for it.")]
Keep = Annotated[Path | None, typer.Option(help="Folder for the last good forecasts; the system's cache by default.")]
Limits = Annotated[Path | None, typer.Option("--limits", help="Your own table of limits (CSV).")]


@app.command(cls=Command)
def fetch(
    lat: Lat,
    lon: Lon,
    source: From = "nws",
    address: Address = "",
    contact: Contact = "",
    keep: Keep = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="Write the hours to this CSV file; left out or -: print them.")
    ] = None,
) -> None:
    """Get the hourly forecast of a site, or the last good one with its age."""
    from api.forecasts.sources import age_text
    from scheduler.weather.forecast import forecast_to_csv

    told = voice()
    told.will_write(out)
    got = _got(source, address, contact, lat, lon, keep)
    _tell_notes(got)
    if got.forecast is None:
        raise typer.Exit(1)
    hours, age = got.forecast.hours, age_text(datetime.datetime.now(datetime.UTC) - got.forecast.issued)
    covered = f"{hours[0].start:%Y-%m-%d %H:%M} to {hours[-1].start:%Y-%m-%d %H:%M} UTC"
    table = forecast_to_csv(got.forecast)
    told.give({"forecast": got.forecast, "notes": got.notes})
    (told.note if out is None and not told.as_json else told.say)(
        f"{got.forecast.source}, {age}: {len(hours)} hours, {covered}"
    )
    if out is None:
        told.show(table, nl=False)
    else:
        write_document(out, table.encode())


@app.command(cls=Command)
def windows(
    lat: Lat,
    lon: Lon,
    start: Annotated[datetime.datetime, typer.Option(formats=["%Y-%m-%d"], help="First day, such as 2027-03-15.")],
    timezone: Annotated[str, typer.Option(help="IANA zone of the site.")] = "America/New_York",
    days: Annotated[int, typer.Option(min=1, max=14, help="Days from the first.")] = 5,
    kind: Annotated[Literal["install", "survey", "repair"], typer.Option(help="Kind of work.")] = "install",
    minutes: Annotated[int, typer.Option(min=1, help="How long the work takes.")] = 180,
    minds: Annotated[
        list[Touchy] | None,
        typer.Option("--with", help="What the work has that the weather is hard on; say it again for each."),
    ] = None,
    hours: Annotated[str, typer.Option(help="When the customer lets you in, each day.")] = "08:00-17:00",
    visit_dollars: Annotated[int, typer.Option(min=0, help="Price of a visit lost to the weather.")] = 450,
    limits: Limits = None,
    source: From = "nws",
    address: Address = "",
    contact: Contact = "",
    keep: Keep = None,
) -> None:
    """Say when a site can be worked, at what risk, and what took the other hours."""
    from scheduler.weather.limits import WeatherWork
    from scheduler.weather.local_day import clock
    from scheduler.weather.lost import lost_sentence
    from scheduler.weather.windows import SitePoint, Span, work_windows

    got = _got(source, address, contact, lat, lon, keep)
    told = voice()
    _tell_notes(got)
    try:
        zoneinfo.ZoneInfo(timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise BadInput("--timezone", f'must be a zone such as America/New_York, is "{timezone}"') from None
    begin, end = _hours(hours)
    work = WeatherWork(kind, minutes, **{each.name: True for each in minds or ()})
    spans = [Span(day, begin, end) for day in range(days)]
    table, place = _limits(limits), SitePoint(lat, lon)
    found = work_windows(spans, start.date(), timezone, place, got.forecast, work, table, None, visit_dollars * 100)
    told.give({"start": start.date(), "found": found, "notes": got.notes})
    for window in found.windows:
        date = start.date() + datetime.timedelta(days=window.day)
        told.show(
            f"{date:%a} {clock(window.start)}–{clock(window.end)} open, risk ${window.risk_cents / 100:.2f} "
            f"({window.risk_cents / max(1, visit_dollars * 100):.0%})"
        )
    for lost in found.lost:
        told.show(lost_sentence(lost, start.date()))
    for span in found.unforecast:
        date = start.date() + datetime.timedelta(days=span.day)
        told.show(f"{date:%a} {clock(span.start)}–{clock(span.end)} has no forecast: the usual chance is taken")
    told.show("A planning aid: the lead's judgement on the spot, the maker's instructions and local rules go first.")


@app.command(name="limits", cls=Command)
def show_limits(
    limits: Limits = None,
    csv: Annotated[bool, typer.Option("--csv", help="Print the table as CSV, to edit.")] = False,
) -> None:
    """Show the limits of weather for each kind of work, each with its reason and source; check a table of your own."""
    from scheduler.weather.limits import DEFAULT_LIMITS_CSV, WeatherWork, limits_for, read_limits

    def checked(raw: bytes) -> tuple[str, LimitTable]:
        return text_of(raw), read_limits(text_of(raw))

    told = voice()
    text, table = checked(DEFAULT_LIMITS_CSV.encode()) if limits is None else read_document(limits, checked)
    told.give({"limits": table.rows})
    if csv:
        told.show(text, nl=False)
        return
    for row in table.rows:
        told.show(f"{row.applies_to:>12}  {row.measure:<20} {row.value:>6g}  {row.reason} ({row.source})")
    strictest = limits_for(table, WeatherWork("install", 60, True, True, True))
    told.show(
        "Install of a large awning from a tall ladder with sealant: "
        + ", ".join(f"{measure} {limit.value:g}" for measure, limit in strictest.items())
    )


@app.command(cls=Command)
def backtest(
    out: Annotated[Path, typer.Option("--out", "-o", help="Folder for the tables, the plot and the summary.")],
    weeks: Annotated[int, typer.Option(min=1, max=45, help="Weeks of 2013 to plan; the others serve to fit.")] = 40,
    jobs: Annotated[int, typer.Option(min=3, max=60, help="Jobs a week.")] = 30,
    crews: Annotated[int, typer.Option(min=1, max=6, help="Crews.")] = 3,
    any_day: Annotated[
        float, typer.Option(min=0, max=1, help="Share of customers who can be visited on any day of the week.")
    ] = 0.5,
    seconds: Annotated[float, typer.Option(min=0.1, help="Most seconds for each plan.")] = 3.0,
    seed: Annotated[int, typer.Option(help="Seed of the random numbers.")] = 1,
) -> None:
    """Plan weeks of a real year with and without a forecast, and count what the weather took from each plan."""
    from api.forecast_backtest import command  # needs pandas and matplotlib, which other commands should not wait for
    from api.settings import read_settings

    told, cluster = voice(), read_settings(os.environ).cluster
    make_folder(out)  # before the work, which takes minutes
    summary = command.run_and_report(out, weeks, jobs, crews, any_day, seconds, seed, told.note, cluster)
    told.give({"folder": str(out), "summary": summary})
    told.show(summary, nl=False)


def _tell_notes(got: Got) -> None:
    for note in got.notes:
        voice().note(f"Note: {note}")


def _got(kind: SourceKind, address: str, contact: str, lat: float, lon: float, keep: Path | None) -> Got:
    import platformdirs

    from api.forecasts.sources import NWS_ADDRESS, OPEN_METEO_ADDRESS, Source, forecast_for

    usual = {"file": "", "nws": NWS_ADDRESS, "open-meteo": OPEN_METEO_ADDRESS}[kind]
    if kind == "file" and not address:
        raise BadInput("--address", "must name the CSV file, for --from file")
    folder = keep or Path(platformdirs.user_cache_dir("eaveboard")) / "forecasts"
    source = Source(kind, address or usual, contact)
    now = datetime.datetime.now(datetime.UTC)
    if kind != "file":
        return forecast_for(source, lat, lon, now, folder)
    with on_disk(Path(address)) as given:
        return forecast_for(replace(source, address=str(given)), lat, lon, now, folder)


def _limits(file: Path | None) -> LimitTable:
    from scheduler.weather.limits import DEFAULT_LIMITS, read_limits

    return DEFAULT_LIMITS if file is None else read_document(file, lambda raw: read_limits(text_of(raw)))


def _hours(text: str) -> tuple[int, int]:
    """Return "08:00-17:00" as minutes after midnight."""
    try:
        parts = [part.strip().partition(":") for part in text.replace("–", "-").split("-")]
        begin, end = (60 * int(h) + int(m) for h, _, m in parts)
    except ValueError:
        raise BadInput("--hours", f'must be such as 08:00-17:00, is "{text}"') from None
    return begin, end
