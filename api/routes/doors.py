"""All doors, in the order in which an address is looked for."""

from __future__ import annotations

from api.routes.day import between, calendars, days, links, photos, today
from api.routes.files import calendars as busy_calendars
from api.routes.files import sent
from api.routes.jobs import entry, following, hand_over, job_awning, jobs, papers, promise, survey_entry, yearly
from api.routes.nouns import awnings, customer_page, customers, orders, sites, surveys, visits, yard
from api.routes.office import (
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
    settings,
)
from api.routes.own import accounts, notices, proof, provider, second_factor, sessions, sign_in
from api.routes.programs import changes, exports, tokens, webhooks
from api.routes.rebooking import bookings, messages, rain_dates, rebooking, text_gateway, texts
from api.routes.week import horizon, live, looking_back, plans, roster, runs, weeks
from api.routes.yard import bench, stock

_DOORS = (
    busy_calendars, weeks, live, plans, runs, horizon, roster, entry, hand_over, following, jobs, customers,
    customer_page, sites, history, accounts, sign_in, links, exchange, gates, maker_orders, yearly, kinds, sent,
    settings, forecasts, roads, places, looking_back, begin, today, days, between, photos, bench, stock, yard, surveys,
    survey_entry, job_awning, learning, visits, orders, awnings, papers, promise, rebooking, rain_dates, messages,
    bookings, condition, tokens, calendars, second_factor, sessions, provider, proof, notices, webhooks, text_gateway,
    texts, changes, exports,
)  # fmt: skip
ROUTERS = tuple(door.router for door in _DOORS)
