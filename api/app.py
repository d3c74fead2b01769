"""The web application: `create_app` reads the settings, opens the database and hangs the pages on it."""

from __future__ import annotations

import asyncio
import os
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import Depends, FastAPI
from starlette.middleware.gzip import GZipMiddleware

from api.access.accounts import Passwords, first_manager
from api.access.guards import is_known, statements
from api.access.idempotency import forget_old
from api.access.provider import SignInProvider
from api.backup.keeper import BackupKeeper
from api.calendars.keeper import CalendarKeeper
from api.calls.guard import allowing
from api.chain.keeper import ChainKeeper
from api.clock import clock_of, machine_clock
from api.condition.leftovers import sweeper
from api.database import Hold
from api.exchange.exports import Exports
from api.exchange.imports import Imports
from api.forecasts.keeper import ForecastKeeper
from api.hooks.keeper import HookKeeper
from api.http.assets import Assets
from api.http.dates import near_dates
from api.http.headers import SafeHeaders
from api.http.measures import Measured, count_lines
from api.http.problems import add_problem_handlers, responses
from api.http.sizes import RequestBounds
from api.http.worded import InItsWords
from api.learning.keeper import LearningKeeper
from api.looking_back import worth
from api.opened import Opened, open_data
from api.outside import close_outside, open_outside
from api.papers.stored.keeper import Keeper
from api.places.finder import Finder
from api.promise.ground import Sales
from api.rebooking.search import Searches
from api.roads.keeper import RoadKeeper
from api.roster.filling import RosterKeeper
from api.routes.described import describe
from api.routes.doors import ROUTERS
from api.running.live import Pulse
from api.settings import Settings, read_settings
from api.week.ending import cut_off
from api.week.horizon.keeper import HorizonKeeper
from api.week.runs import Runs
from api.yearly.keeper import YearlyKeeper

HOLD_S = 10.0  # between two looks whether the database is still held


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
        dependencies=[Depends(near_dates)],
        responses=responses(400, 401, 403, 404, 409, 422, 500)
        | {303: {"description": "to a browser: on to another page"}},
    )
    app.state.settings = chosen
    app.state.leaving = lambda: False  # whoever serves it says when it is told to end
    app.mount("/static", Assets(), name="static")
    for router in ROUTERS:
        app.include_router(router)
    add_problem_handlers(app)
    app.add_middleware(InItsWords)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)  # leaves event streams as they come
    app.add_middleware(RequestBounds, known=is_known, paced=not chosen.quick_passwords)
    app.add_middleware(SafeHeaders, secure=chosen.secure, tiles=chosen.tiles)
    app.add_middleware(Measured)
    count_lines()
    app.openapi = lambda: describe(app)  # type: ignore[method-assign]
    list(statements(app))
    return app


@asynccontextmanager
async def _at_work(app: FastAPI, chosen: Settings, own: Opened) -> AsyncIterator[None]:
    """Begin what works beside the pages, and end it."""
    app.state.secret, app.state.database = own.secret, own.database
    app.state.passwords = Passwords(quick=chosen.quick_passwords)
    app.state.clock = clock_of(chosen.clock, app.state.database)
    back = f"{chosen.base}/sign-in/provider/back"
    app.state.provider = SignInProvider(chosen.provider, back) if chosen.provider else None
    now = machine_clock()
    password = first_manager(app.state.database, app.state.passwords, now)
    if password is not None:
        print(f"Sign in as manager with the one-time password {password}", file=sys.stderr, flush=True)
    forget_old(app.state.database, now)
    cut_off(app.state.database, app.state.clock())
    app.state.runs = Runs(app.state.database, chosen.planners, lambda: app.state.clock())
    app.state.runs.start()
    app.state.horizon = HorizonKeeper(app.state.database, app.state.runs, lambda: app.state.clock())
    app.state.horizon.start()
    app.state.roster = RosterKeeper(app.state.database, lambda: app.state.clock())
    app.state.roster.start()
    worth.cut_off(app.state.database, app.state.clock())
    app.state.worth = worth.WorthRuns(app.state.database, lambda: app.state.clock())
    app.state.papers = Keeper(app.state.database, chosen.database, chosen.preparers, lambda: app.state.clock())
    app.state.papers.start()
    app.state.forecasts = ForecastKeeper(app.state.database, chosen.data, lambda: app.state.clock())
    app.state.forecasts.start()
    app.state.roads = RoadKeeper(app.state.database, chosen.data, lambda: app.state.clock())
    app.state.roads.start()
    app.state.learning = LearningKeeper(app.state.database, lambda: app.state.clock())
    app.state.learning.start()
    app.state.yearly = YearlyKeeper(app.state.database, lambda: app.state.clock())
    app.state.yearly.start()
    app.state.places = Finder(app.state.database, lambda: app.state.clock())
    app.state.places.start()
    app.state.searches = Searches(app.state.database, lambda: app.state.clock())
    app.state.sales = Sales(app.state.database)
    app.state.sales.warm(lambda: app.state.clock())
    app.state.pulse = Pulse(app.state.database, app.state.searches.days, lambda: app.state.clock())
    app.state.chain = ChainKeeper(app.state.database, machine_clock)
    app.state.chain.start()
    app.state.hooks = HookKeeper(app.state.database, machine_clock, allowing(chosen.inner_calls))
    app.state.hooks.start()
    app.state.calendars = CalendarKeeper(app.state.database, lambda: app.state.clock(), machine_clock)
    app.state.calendars.start()
    app.state.backups = BackupKeeper(
        app.state.database, chosen.data, chosen.backups, chosen.backup_hours, chosen.backups_kept, machine_clock
    )
    app.state.backups.start()
    app.state.exports = Exports(chosen.database, chosen.data, own_process=chosen.preparers > 0)
    app.state.imports = Imports(app.state.database, chosen.database, app.state.places, own_process=chosen.preparers > 0)
    app.state.outside = open_outside() if chosen.preparers else None
    app.state.leftovers = sweeper(app.state.database, chosen.data, machine_clock)
    app.state.leftovers.start()
    holding = asyncio.create_task(_keep(own.held))
    yield
    holding.cancel()
    app.state.imports.close()
    app.state.exports.close()
    app.state.leftovers.close()
    if app.state.outside is not None:
        close_outside(app.state.outside)
    app.state.backups.close()
    app.state.calendars.close()
    app.state.hooks.close()
    app.state.searches.close()
    app.state.sales.close()
    app.state.places.close()
    app.state.yearly.close()
    app.state.learning.close()
    app.state.roads.close()
    app.state.forecasts.close()
    app.state.papers.close()
    app.state.worth.close()
    app.state.roster.close()
    app.state.horizon.close()
    app.state.runs.close()
    app.state.chain.close()


async def _keep(held: Hold) -> None:
    """Take up again what a database server let go of when its connection broke."""
    while True:
        await asyncio.sleep(HOLD_S)
        await asyncio.to_thread(held.keep)
