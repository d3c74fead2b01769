"""`eaveboard weather`: forecasts, work windows, limits and the backtest on the command line."""

from __future__ import annotations

import datetime
import zoneinfo
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from scheduler.errors import BadInput

if TYPE_CHECKING:
    from api.forecasts.sources import Got
    from scheduler.weather.limits import LimitTable

# The weather modules and the web client are imported by the commands: `--help` must not wait for them.
app = typer.Typer(help="Forecasts, work windows and what the weather costs.", no_args_is_help=True)

SourceKind = Literal["file", "nws", "open-meteo"]
Lat = Annotated[float, typer.Option(help="Degrees north of the site.", min=-90, max=90)]
Lon = Annotated[float, typer.Option(help="Degrees east of the site (west is negative).", min=-180, max=180)]
From = Annotated[SourceKind, typer.Option("--from", help="Where the forecast comes from.")]
Address = Annotated[str, typer.Option(help="The CSV file, or the service's address where it is not the usual one.")]
Contact = Annotated[str, typer.Option(help="E-mail or web address sent to the service, which asks for it.")]
Keep = Annotated[Path | None, typer.Option(help="Folder for the last good forecasts; the system's cache by default.")]
Limits = Annotated[Path | None, typer.Option("--limits", help="Your own table of limits (CSV).")]


@app.command()
def fetch(
    lat: Lat,
    lon: Lon,
    source: From = "nws",
    address: Address = "",
    contact: Contact = "",
    keep: Keep = None,
    out: Annotated[Path | None, typer.Option(help="Write the hours to this CSV file.")] = None,
) -> None:
    """Get the hourly forecast of a site, or the last good one with its age."""
    from api.forecasts.sources import age_text
    from scheduler.weather.forecast import forecast_to_csv

    got = _got(source, address, contact, lat, lon, keep)
    for note in got.notes:
        typer.echo(f"note: {note}", err=True)
    if got.forecast is None:
        raise typer.Exit(1)
    hours, age = got.forecast.hours, age_text(datetime.datetime.now(datetime.UTC) - got.forecast.issued)
    covered = f"{hours[0].start:%Y-%m-%d %H:%M} to {hours[-1].start:%Y-%m-%d %H:%M} UTC"
    typer.echo(f"{got.forecast.source}, {age}: {len(hours)} hours, {covered}", err=out is None)
    if out is None:
        typer.echo(forecast_to_csv(got.forecast), nl=False)
    else:
        out.write_text(forecast_to_csv(got.forecast), encoding="utf-8")


@app.command()
def windows(
    lat: Lat,
    lon: Lon,
    start: Annotated[datetime.datetime, typer.Option(formats=["%Y-%m-%d"], help="First day, such as 2027-03-15.")],
    timezone: Annotated[str, typer.Option(help="IANA zone of the site.")] = "America/New_York",
    days: Annotated[int, typer.Option(min=1, max=14, help="Days from the first.")] = 5,
    kind: Annotated[Literal["install", "survey", "repair"], typer.Option(help="Kind of work.")] = "install",
    minutes: Annotated[int, typer.Option(min=1, help="How long the work takes.")] = 180,
    tall_ladder: Annotated[bool, typer.Option("--tall-ladder", help="A tall ladder is used.")] = False,
    large_awning: Annotated[bool, typer.Option("--large-awning", help="The awning is a large one.")] = False,
    sealant: Annotated[bool, typer.Option("--sealant", help="A joint is sealed.")] = False,
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
    for note in got.notes:
        typer.echo(f"note: {note}", err=True)
    try:
        zoneinfo.ZoneInfo(timezone)
        begin, end = _hours(hours)
        work = WeatherWork(kind, minutes, tall_ladder, large_awning, sealant)
        spans = [Span(day, begin, end) for day in range(days)]
        found = work_windows(
            spans,
            start.date(),
            timezone,
            SitePoint(lat, lon),
            got.forecast,
            work,
            _limits(limits),
            None,
            visit_dollars * 100,
        )
    except (BadInput, zoneinfo.ZoneInfoNotFoundError) as fault:
        raise _refused(fault) from None
    for window in found.windows:
        date = start.date() + datetime.timedelta(days=window.day)
        typer.echo(
            f"{date:%a} {clock(window.start)}–{clock(window.end)} open, risk ${window.risk_cents / 100:.2f} "
            f"({window.risk_cents / max(1, visit_dollars * 100):.0%})"
        )
    for lost in found.lost:
        typer.echo(lost_sentence(lost, start.date()))
    for span in found.unforecast:
        date = start.date() + datetime.timedelta(days=span.day)
        typer.echo(f"{date:%a} {clock(span.start)}–{clock(span.end)} has no forecast: the usual chance is taken")
    typer.echo("A planning aid: the lead's judgement on the spot, the maker's instructions and local rules go first.")


@app.command(name="limits")
def show_limits(
    limits: Limits = None,
    csv: Annotated[bool, typer.Option("--csv", help="Print the table as CSV, to edit.")] = False,
) -> None:
    """Show the limits of weather for each kind of work, each with its reason and source; check a table of your own."""
    from scheduler.weather.default_limits import DEFAULT_LIMITS_CSV
    from scheduler.weather.limits import WeatherWork, limits_for

    table = _limits(limits)
    if csv:
        typer.echo(DEFAULT_LIMITS_CSV if limits is None else limits.read_text(encoding="utf-8-sig"), nl=False)
        return
    for row in table.rows:
        typer.echo(f"{row.applies_to:>12}  {row.measure:<20} {row.value:>6g}  {row.reason} ({row.source})")
    strictest = limits_for(table, WeatherWork("install", 60, True, True, True))
    typer.echo(
        "Install of a large awning from a tall ladder with sealant: "
        + ", ".join(f"{measure} {limit.value:g}" for measure, limit in strictest.items())
    )


@app.command()
def backtest(
    out: Annotated[Path, typer.Option(help="Folder for the tables, the plot and the summary.")],
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

    try:
        summary = command.run_and_report(
            out, weeks, jobs, crews, any_day, seconds, seed, lambda line: typer.echo(line, err=True)
        )
    except BadInput as fault:
        raise _refused(fault) from None
    typer.echo(summary, nl=False)


def _got(kind: SourceKind, address: str, contact: str, lat: float, lon: float, keep: Path | None) -> Got:
    import platformdirs

    from api.forecasts.sources import NWS_ADDRESS, OPEN_METEO_ADDRESS, Source, forecast_for

    usual = {"file": "", "nws": NWS_ADDRESS, "open-meteo": OPEN_METEO_ADDRESS}[kind]
    if kind == "file" and not address:
        raise typer.BadParameter("name the CSV file by --address")
    folder = keep or Path(platformdirs.user_cache_dir("eaveboard")) / "forecasts"
    source = Source(kind, address or usual, contact)
    try:
        return forecast_for(source, lat, lon, datetime.datetime.now(datetime.UTC), folder)
    except BadInput as fault:
        raise _refused(fault) from None


def _limits(file: Path | None) -> LimitTable:
    from scheduler.weather.default_limits import DEFAULT_LIMITS
    from scheduler.weather.limits import read_limits

    if file is None:
        return DEFAULT_LIMITS
    try:
        return read_limits(file.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError) as fault:
        raise _refused(f"{file} cannot be read: {fault}") from None
    except BadInput as fault:
        raise _refused(f"{file}: {fault}") from None


def _hours(text: str) -> tuple[int, int]:
    """Return "08:00-17:00" as minutes after midnight."""
    try:
        parts = [part.strip().partition(":") for part in text.replace("–", "-").split("-")]
        begin, end = (60 * int(h) + int(m) for h, _, m in parts)
    except ValueError:
        raise BadInput("hours", f'must be such as 08:00-17:00, is "{text}"') from None
    return begin, end


def _refused(fault: object) -> typer.Exit:
    typer.echo(f"error: {fault}", err=True)
    return typer.Exit(2)
