"""All doors, in the order in which an address is looked for."""

from __future__ import annotations

from api.routes.day import calendars, days, links, photos, today
from api.routes.jobs import entry, hand_over, job_awning, jobs, papers, promise, survey_entry
from api.routes.nouns import awnings, customers, orders, sites, surveys, visits, yard
from api.routes.office import (
    accounts,
    begin,
    condition,
    exchange,
    forecasts,
    gates,
    history,
    kinds,
    learning,
    maker_orders,
    places,
    roads,
    second_factor,
    settings,
)
from api.routes.programs import changes, tokens, webhooks
from api.routes.rebooking import bookings, messages, rebooking
from api.routes.week import horizon, live, looking_back, plans, roster, runs, weeks
from api.routes.yard import bench, stock

_DOORS = (
    weeks, live, plans, runs, horizon, roster, entry, hand_over, jobs, customers, sites, history, accounts, links,
    exchange, gates, maker_orders, kinds, settings, forecasts, roads, places, looking_back, begin, today, days, photos,
    bench, stock, yard, surveys, survey_entry, job_awning, learning, visits, orders, awnings, papers, promise,
    rebooking, messages, bookings, condition, tokens, calendars, second_factor, webhooks, changes,
)  # fmt: skip
ROUTERS = tuple(door.router for door in _DOORS)
