"""The first days: what a business needs before a week can be planned, what of it is there, and what comes next."""

from __future__ import annotations

import datetime
import errno
import io
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.business.demo import FILES
from api.fields.shown import at
from api.languages import gettext, to_say
from scheduler.errors import BadInput

Counted = tuple[type[SQLModel], str]  # a table and the noun of its rows
MOST_BYTES = 20_000_000
MOST_FILES = 500
MOST_UNPACKED = 200_000_000
# What the library raises of a damaged pack, beside ValueError for a place before its beginning and OSError for a name
# that no file can have.
_BROKEN_ZIP = (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error)


_NOUNS = {
    "yard": (to_say("{n} yard"), to_say("{n} yards")), "person": (to_say("{n} person"), to_say("{n} people")),
    "van": (to_say("{n} van"), to_say("{n} vans")), "crew": (to_say("{n} crew"), to_say("{n} crews")),
    "customer": (to_say("{n} customer"), to_say("{n} customers")), "site": (to_say("{n} site"), to_say("{n} sites")),
    "order": (to_say("{n} order"), to_say("{n} orders")), "awning": (to_say("{n} awning"), to_say("{n} awnings")),
    "visit": (to_say("{n} visit"), to_say("{n} visits")), "survey": (to_say("{n} survey"), to_say("{n} surveys")),
    "kit": (to_say("{n} kit counted"), to_say("{n} kits counted")), "week": (to_say("{n} week"), to_say("{n} weeks")),
    "other": (to_say("{n} other"), to_say("{n} others")),
}  # fmt: skip


@dataclass(frozen=True)
class Step:
    """One step: `there` says in words what is in the database, empty where nothing is; `links` are (address, words)."""

    title: str
    words: str
    there: str
    links: tuple[tuple[str, str], ...]

    @property
    def done(self) -> bool:
        return bool(self.there)


def steps(session: Session) -> list[Step]:
    """Return the steps from an empty database to a posted week, in their order."""
    business = session.get(tables.Business, 1)
    yard: list[Counted] = [(tables.Yard, "yard"), (tables.Person, "person"), (tables.Van, "van"), (tables.Crew, "crew")]
    sold: list[Counted] = [
        (tables.Customer, "customer"), (tables.Site, "site"), (tables.Order, "order"), (tables.Awning, "awning"),
    ]  # fmt: skip
    visits = _count(session, tables.Visit)
    surveyed = _count(session, tables.SiteSurvey)
    counted = session.exec(select(sa.func.count(sa.distinct(col(tables.BenchCount.visit_id))))).one()
    forecast = session.exec(select(tables.StoredForecast).order_by(col(tables.StoredForecast.issued).desc())).first()
    planned = session.exec(select(sa.func.count(sa.distinct(col(tables.StoredPlan.start_date))))).one()
    posted = session.exec(
        select(sa.func.count()).select_from(tables.PostedWeek).where(col(tables.PostedWeek.withdrawn_at).is_(None))
    ).one()
    people = _count(session, tables.Account)
    zone = business.timezone if business else "UTC"
    issued = gettext("issued {when}").format(when=at(forecast.issued, zone)) if forecast else ""
    nowhere = session.exec(select(sa.func.count()).select_from(tables.Site).where(~col(tables.Site.placed))).one()
    to_place = (
        (("/places", gettext("Put {sites} on the map").format(sites=_words(nowhere, "site"))),) if nowhere else ()
    )
    return [
        Step("The business", "Its name, town and time zone; prices and limits begin with usual values to be replaced.",
             "" if business is None else f"{business.name}, {business.town}",
             (("/settings/business", "Name it" if business is None else "Change it"),)),
        Step("Yards, people, vans, crews", "Who works from where with what.",
             _there(session, yard), (("/set-up", "Set up"),) if business else ()),
        Step("Customers and what they bought", "Customers, sites, orders and awnings, from your own tables.",
             _there(session, sold), (("/set-up/jobs", "Lists as you have them"), ("/exchange", "Take tables in"),
                                     *to_place)),
        Step("Visits to make", "Each install, survey and repair that is to be planned, with the hours customers allow.",
             _words(visits, "visit"), (("/exchange", "Take tables in"), ("/jobs", "Jobs"))),
        Step("Walls surveyed", "Heights, studs and obstacles: an install is drawn from its survey.",
             _words(surveyed, "survey"), (("/jobs", "Jobs"),)),
        Step("Crates counted", "An install goes out only when its kit is counted and whole.",
             _words(counted, "kit"), (("/bench", "Bench"),)),
        Step("The forecast", "Wind, rain, thunder and heat by the hour; without it a plan keeps daylight only.",
             issued, ()),
        Step("A week planned", "The planner finds who goes where and when, and says why a job waits.",
             _words(planned, "week"), (("/", "Week sheet"),)),
        Step("The week posted", "Crews see their days, customers their times.", _words(posted, "week"),
             (("/", "Week sheet"),)),
        Step("Who else may sign in", "The office, the crew leads and whoever only looks.",
             _words(people - 1, "other"), (("/who-may-sign-in", "Who may sign in"),)),
    ]  # fmt: skip


def is_bare(session: Session) -> bool:
    """Say whether there is no business yet, or nothing of it but its name."""
    return session.get(tables.Business, 1) is None or not (
        _count(session, tables.Yard) + _count(session, tables.Customer)
    )


def first_monday(session: Session, now: datetime.datetime) -> datetime.date:
    """Return the Monday that a first plan is for: the next one after today and after the newest forecast was issued."""
    issued = session.exec(select(sa.func.max(col(tables.StoredForecast.issued)))).one()
    day = max(now, issued or now).date()
    return day + datetime.timedelta(days=7 - day.weekday())


@contextmanager
def unpacked(data: bytes, name: str) -> Iterator[Path]:
    """Give a folder with the files of a business from a ZIP file; they may lie in one folder of their own in it.

    Raises `BadInput` where it cannot be read, is far too large or would write outside.
    """
    if len(data) > MOST_BYTES:
        raise BadInput(name, f"is larger than {MOST_BYTES // 1_000_000} MB")
    with TemporaryDirectory() as folder:
        try:
            _unpack(data, name, Path(folder))
        except BadInput:
            raise
        except (*_BROKEN_ZIP, ValueError, OSError) as fault:
            if isinstance(fault, OSError) and fault.errno == errno.ENOSPC:
                raise
            raise BadInput(name, "cannot be read as a ZIP file; pack the files of the business into one") from fault
        yield Path(folder)


def _unpack(data: bytes, name: str, folder: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        infos = [info for info in packed.infolist() if not info.is_dir()]
        if len(infos) > MOST_FILES or sum(info.file_size for info in infos) > MOST_UNPACKED:
            raise BadInput(name, "holds far more than its size says")
        heads = [PurePosixPath(i.filename).parent for i in infos if i.filename.endswith("business.yaml")]
        if not heads:
            raise BadInput(name, "holds no business.yaml; take the example's files and write yours over them")
        head = min(heads, key=lambda path: len(path.parts))
        for info in infos:
            path = PurePosixPath(info.filename)
            if not path.is_relative_to(head):
                continue
            inner = path.relative_to(head)
            if path.is_absolute() or ".." in inner.parts:
                raise BadInput(name, f'holds "{info.filename}", which lies outside')
            target = Path(folder, *inner.parts)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(packed.read(info))


def example_zip() -> bytes:
    """Return the demo business's files, to be written over with one's own."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for path in sorted(FILES.rglob("*")):
            if path.is_file() and path.suffix in (".csv", ".yaml", ".md", ".json"):
                packed.writestr(zipfile.ZipInfo(f"business/{path.relative_to(FILES).as_posix()}"), path.read_bytes())
    return out.getvalue()


def _count(session: Session, table: type[SQLModel]) -> int:
    return session.exec(select(sa.func.count()).select_from(table)).one()


def _there(session: Session, nouns: list[Counted]) -> str:
    """Return the counts in words where there is at least one of each, else nothing: the step is not done."""
    counts = [(_count(session, table), noun) for table, noun in nouns]
    return ", ".join(_words(n, noun) for n, noun in counts) if all(n for n, _ in counts) else ""


def _words(n: int, noun: str) -> str:
    one, more = _NOUNS[noun]
    return "" if n <= 0 else gettext(one if n == 1 else more).format(n=f"{n:,}")
