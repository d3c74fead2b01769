"""The web application: `create_app` reads the settings, opens the database and hangs the pages on it."""

from __future__ import annotations

import asyncio
import datetime
import logging
import os
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from starlette.datastructures import State
from starlette.middleware.gzip import GZipMiddleware

from api.access.accounts import Passwords, first_manager
from api.access.guards import is_known, statements
from api.access.idempotency import forget_old
from api.access.provider import SignInProvider
from api.backup.keeper import BackupKeeper
from api.calendars.keeper import CalendarKeeper
from api.calendars.kept import taken as calendars_taken
from api.calls.guard import allowing
from api.chain.keeper import ChainKeeper
from api.clock import clock_of, machine_clock
from api.condition.leftovers import sweeper
from api.database import Hold
from api.exchange.business_loads import BusinessLoads
from api.exchange.exports import Exports
from api.exchange.imports import Imports
from api.forecasts.keeper import ForecastKeeper
from api.hooks.keeper import HookKeeper
from api.http.admission.sizes import RequestBounds
from api.http.assets import Assets
from api.http.first_version import FirstVersion
from api.http.headers import SafeHeaders
from api.http.measures import Measured, count_lines
from api.http.pages import forget_answers, turns
from api.http.problems import add_problem_handlers
from api.http.worded import InItsWords
from api.learning.keeper import LearningKeeper
from api.looking_back import worth
from api.messages.notices import NoticeKeeper
from api.office.behind import Lists
from api.opened import Opened, open_data
from api.outside import close_outside, open_outside
from api.papers.stored.keeper import Keeper as PaperKeeper
from api.places.filling import filler
from api.places.finder import Finder
from api.promise.ground import Sales
from api.rebooking.rain_dates.gone_by import GoneByKeeper
from api.rebooking.search import Searches
from api.roads.keeper import RoadKeeper
from api.roster.filling import RosterKeeper
from api.routes.described import describe
from api.routes.doors import ROUTERS
from api.running.live import Pulse
from api.settings import Settings, read_settings
from api.week.horizon.keeper import HorizonKeeper
from api.week.reasons import ReasonsKeeper
from api.week.run.ending import cut_off
from api.week.run.runs import Runs
from api.workers.keepers import KEEP_S, Keepers
from api.workers.signals import Signals
from api.yearly.keeper import YearlyKeeper

_log = logging.getLogger("eaveboard")


def create_app(settings: Settings | None = None, opened: Opened | None = None) -> FastAPI:
    """Return the application for `settings` (None: those of the environment); the database is opened when it starts.

    opened: what `open_data` has opened already; the application closes it when it ends. Raises `RuntimeError` where a
    route does not state who may use it.
    """
    chosen = settings or read_settings(os.environ)

    @asynccontextmanager
    async def running(app: FastAPI) -> AsyncIterator[None]:
        chosen: Settings = app.state.settings
        app.state.set_up = False
        forget_answers(app.state)
        own = opened or open_data(chosen)
        try:
            async with _at_work(app, chosen, own):
                yield
        finally:
            own.close()

    app = FastAPI(
        title="Eaveboard",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=running,
    )
    app.state.settings = chosen
    app.state.leaving = lambda: False  # whoever serves it says when it is told to end
    app.mount("/static", Assets(), name="static")
    for router in ROUTERS:
        app.router.routes.extend(router.routes)
    add_problem_handlers(app)
    app.add_middleware(InItsWords)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)  # leaves event streams as they come
    app.add_middleware(RequestBounds, known=is_known, paced=not chosen.quick_passwords)
    app.add_middleware(SafeHeaders, secure=chosen.secure, tiles=chosen.tiles)
    app.add_middleware(Measured)
    app.add_middleware(FirstVersion)
    count_lines()
    app.openapi = lambda: describe(app)  # type: ignore[method-assign]
    list(statements(app))
    return app


@asynccontextmanager
async def _at_work(app: FastAPI, chosen: Settings, own: Opened) -> AsyncIterator[None]:
    """Begin what works beside the pages, and end it."""
    state, database, held = app.state, own.database, own.held
    state.secret, state.database, state.turns = own.secret, database, turns()
    state.passwords = Passwords(quick=chosen.quick_passwords)
    state.clock = clock_of(chosen.clock, database)
    back = f"{chosen.base}/sign-in/provider/back"
    state.provider = SignInProvider(chosen.provider, back) if chosen.provider else None
    state.signals = signals = Signals(database, held.number)

    def clock() -> datetime.datetime:  # a test may set another one
        now: datetime.datetime = state.clock()
        return now

    state.runs = Runs(database, chosen.planners, clock, held, chosen.cluster)
    state.reasons = ReasonsKeeper(database, clock, own_process=chosen.preparers > 0)
    state.roster = RosterKeeper(database, clock, held, signals)
    state.worth = worth.WorthRuns(database, clock, held)
    state.papers = PaperKeeper(database, chosen.database, chosen.preparers, clock, signals, chosen.cluster)
    state.forecasts = ForecastKeeper(database, chosen.data, clock)
    state.roads = RoadKeeper(database, chosen.data, clock, signals)
    state.places = Finder(database, clock, signals=signals)
    state.searches = Searches(database, clock, signals, chosen.cluster)
    state.sales = Sales(database)
    state.pulse = Pulse(database, state.searches.days, clock, signals)
    state.chain = ChainKeeper(database, machine_clock)
    state.calendars = CalendarKeeper(state.searches.days, clock, machine_clock)
    state.backups = BackupKeeper(
        database,
        chosen.data,
        chosen.backups,
        chosen.backup_hours,
        chosen.backups_kept,
        chosen.backup_days,
        machine_clock,
    )
    state.exports = Exports(chosen.database, chosen.data, held, own_process=chosen.preparers > 0)
    state.imports = Imports(database, chosen, filler(state.places), held)
    state.lists = Lists(database, chosen, held, calendars_taken)
    state.loads = BusinessLoads(chosen, held, lambda: _set_clock(state))
    state.outside = open_outside() if chosen.preparers else None
    state.learning, state.yearly = LearningKeeper(database, clock), YearlyKeeper(database, clock)
    state.gone_by = GoneByKeeper(database, clock)
    state.notices = NoticeKeeper(database, chosen.smtp, chosen.mail_from, chosen.base, machine_clock)
    state.hooks = HookKeeper(database, machine_clock, allowing(chosen.inner_calls))
    keepers = [
        state.chain, HorizonKeeper(database, state.runs, clock), state.reasons, state.roster, state.worth, state.papers,
        state.forecasts, state.roads, state.learning, state.yearly, state.places, state.hooks, state.calendars,
        state.notices, state.backups, state.gone_by,
    ]  # fmt: skip
    idle = {state.papers: not chosen.preparers, state.backups: chosen.backups is None}
    lookouts = [one.lookout for one in keepers if not idle.get(one)]
    lookouts.append(sweeper(database, chosen.data, machine_clock))
    state.keepers = Keepers(lookouts, held, signals, lambda: _take_lead(state, held))
    state.chain.check()
    state.keepers.keep()
    signals.start()
    state.runs.start(signals)
    state.sales.warm(clock)
    holding = asyncio.create_task(_keep(state.keepers))
    yield
    holding.cancel()
    state.imports.close()
    state.lists.close()
    state.loads.close()
    state.exports.close()
    if state.outside is not None:
        close_outside(state.outside)
    state.searches.close()
    state.sales.close()
    state.worth.close()
    state.roster.close()
    state.runs.close()
    state.keepers.close()  # the chain, the first of them, at last: what the others have written is sealed
    state.reasons.close()
    signals.close()


def _set_clock(state: State) -> None:
    """Set a clock that goes by the forecast once there is one to go by."""
    state.clock = clock_of(state.settings.clock, state.database)


def _take_lead(state: State, held: Hold) -> None:
    """Do what one worker does for all before others rely on it."""
    now = machine_clock()
    password = first_manager(state.database, state.passwords, now)
    if password is not None:
        print(f"Sign in as manager with the one-time password {password}", file=sys.stderr, flush=True)
    forget_old(state.database, now)
    if held.workers() == {held.number}:  # whatever is under way was left by a service that has ended
        cut_off(state.database, state.clock())
        worth.cut_off(state.database, state.clock())


async def _keep(keepers: Keepers) -> None:
    """Keep the locks, and lead where nobody else does."""
    while True:
        await asyncio.sleep(KEEP_S)
        try:
            await asyncio.to_thread(keepers.keep)
        except Exception:  # the next look must come all the same
            _log.exception("whether this worker leads could not be settled; trying again in a moment")
