"""Work windows of a site, and the reasons why other hours are lost."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Mapping

import msgspec
import pytest

from scheduler.errors import BadInput
from scheduler.weather.forecast import Forecast, Hour
from scheduler.weather.limits import DEFAULT_LIMITS, MPS_PER_MPH, LimitTable, WeatherWork
from scheduler.weather.local_day import local_day
from scheduler.weather.lost import lost_sentence
from scheduler.weather.windows import SitePoint, Span, WorkWindows, work_windows

MONDAY = datetime.date(2027, 5, 3)
SITE = SitePoint(40.2, -75.1)
ZONE = "America/New_York"
DAY = (Span(0, 8 * 60, 17 * 60),)
INSTALL = WeatherWork("install", 120)
Changes = Mapping[int, Mapping[str, float | None]]


def weather(changes: Changes | None = None, date: datetime.date = MONDAY, days: int = 1) -> Forecast:
    """Calm hours from local midnight; `changes` by hour of the clock (24 and more: the days after)."""
    midnight = datetime.datetime.combine(date, datetime.time(), zoneinfo.ZoneInfo(ZONE)).astimezone(datetime.UTC)
    calm: dict[str, float | None] = {
        "wind_mps": 1.0, "gust_mps": None, "rain_mm": 0.0, "rain_chance": 0.0, "thunder_chance": 0.0, "temp_c": 18.0,
        "humidity": 0.5,
    }  # fmt: skip
    hours = tuple(
        Hour(start=midnight + datetime.timedelta(hours=n), **{**calm, **(changes or {}).get(n, {})})  # type: ignore[arg-type]
        for n in range(24 * days)
    )
    return Forecast("test", midnight, hours)


def windows(
    forecast: Forecast | None, work: WeatherWork = INSTALL, hours: tuple[Span, ...] = DAY, **more: object
) -> WorkWindows:
    arguments: dict[str, object] = {
        "customer_hours": hours, "start_date": MONDAY, "timezone": ZONE, "site": SITE, "forecast": forecast,
        "work": work, "limits": DEFAULT_LIMITS, "crew_hours": None, "visit_cents": 40_000, **more,
    }  # fmt: skip
    return work_windows(**arguments)  # type: ignore[arg-type]


def lines(found: WorkWindows) -> list[str]:
    return [lost_sentence(lost, MONDAY) for lost in found.lost]


def test_a_calm_day_is_one_window_without_risk() -> None:
    found = windows(weather())
    (window,) = found.windows
    assert (window.day, window.start, window.end) == (0, 480, 1020)
    assert window.risk_cents < 100
    assert found.lost == ()
    assert found.unforecast == ()


def test_gusts_take_the_afternoon_and_say_so() -> None:
    gusty = {h: {"gust_mps": 31 * MPS_PER_MPH} for h in range(13, 17)}
    found = windows(weather(gusty))
    assert lines(found) == ["Mon 13:00–17:00 lost: gusts 31 mph (limit 25)"]
    assert {w.end for w in found.windows} == {780}


def test_doubtful_hours_are_left_open_at_their_price_where_that_is_asked() -> None:
    gusty = weather({h: {"gust_mps": 26 * MPS_PER_MPH} for h in range(13, 17)})
    assert windows(gusty, open_below=0.2) == windows(gusty)  # likelier to be lost than that
    found = windows(gusty, open_below=0.95)
    assert found.lost == ()
    afternoon = min(w.risk_cents for w in found.windows if w.end == 1020 and w.start < 1020 - INSTALL.minutes)
    morning = min(w.risk_cents for w in found.windows if w.end == 780)
    assert 40_000 * 0.3 < afternoon < 40_000 * 0.95
    assert morning < 4_000


def test_a_tall_ladder_stops_where_a_short_one_does_not() -> None:
    breezy = {h: {"wind_mps": 16 * MPS_PER_MPH} for h in range(13, 17)}
    assert windows(weather(breezy)).lost == ()
    found = windows(weather(breezy), WeatherWork("install", 120, tall_ladder=True))
    assert lines(found) == ["Mon 13:00–17:00 lost: wind 16 mph (limit 15)"]


def test_thunder_takes_half_an_hour_more() -> None:
    found = windows(weather({10: {"thunder_chance": 0.6}}))
    assert lines(found) == [
        "Mon 10:00–11:00 lost: thunder 60% likely (limit 40%)",
        "Mon 11:00–11:30 lost: 30 min wait after thunder",
    ]
    assert {(w.start, w.end) for w in found.windows} == {(480, 600), (690, 1020)}


def test_thunder_in_the_last_hour_before_the_customer_is_free_still_counts() -> None:
    found = windows(weather({7: {"thunder_chance": 0.6}}))
    assert lines(found) == ["Mon 8:00–8:30 lost: 30 min wait after thunder"]


def test_a_stretch_too_short_for_the_work_is_lost_with_the_minutes() -> None:
    found = windows(weather({9: {"rain_mm": 3.0}}))
    assert lines(found) == [
        "Mon 8:00–9:00 lost: 60 min left, the work takes 120",
        "Mon 9:00–10:00 lost: rain 3 mm an hour (limit 0.5)",
    ]


def test_several_reasons_stand_side_by_side() -> None:
    storm = {13: {"gust_mps": 15.0, "rain_mm": 6.0, "thunder_chance": 0.8, "wind_mps": 10.0}}
    assert lines(windows(weather(storm)))[0] == (
        "Mon 13:00–14:00 lost: gusts 34 mph (limit 25); wind 22 mph (limit 20); thunder 80% likely (limit 40%); "
        "rain 6 mm an hour (limit 0.5)"
    )


def test_neighbouring_hours_join_in_the_worst_words() -> None:
    rising = {h: {"gust_mps": (26 + h - 12) * MPS_PER_MPH} for h in range(12, 17)}
    assert lines(windows(weather(rising))) == ["Mon 12:00–17:00 lost: gusts 30 mph (limit 25)"]


def test_a_value_just_above_its_limit_is_not_shown_as_the_limit() -> None:
    found = windows(weather({16: {"gust_mps": 25.04 * MPS_PER_MPH}}))
    assert lines(found) == ["Mon 16:00–17:00 lost: gusts 25.04 mph (limit 25)"]


def test_heat_names_its_band_and_cold_its_limit() -> None:
    hot = windows(weather({14: {"temp_c": 36.0, "humidity": 0.55}}))
    assert lines(hot) == ["Mon 14:00–15:00 lost: heat index 114 °F in the shade, danger (limit 100)"]
    cold = windows(weather({8: {"temp_c": 3.0}}), WeatherWork("install", 60, sealant=True))
    assert lines(cold) == ["Mon 8:00–9:00 lost: 3 °C (at least 5)"]


def test_dark_hours_and_hours_without_crew_go_first() -> None:
    storm = {h: {"gust_mps": 20.0} for h in range(24)}
    found = windows(weather(storm), hours=(Span(0, 300, 1260),), crew_hours=(Span(0, 420, 1020),))
    dawn, dusk = 5 * 60 + 24, 20 * 60 + 26  # civil twilight at 40.2 N on 3 May, to a few minutes
    first, second, third, fourth = found.lost[0], found.lost[1], found.lost[2], found.lost[-1]
    assert (first.start, first.codes) == (300, ("no crew",))
    assert first.end == 420
    assert second.codes == ("gust",)
    assert third.codes == ("no crew",)
    assert fourth.end == 1260
    alone = windows(weather(storm), hours=(Span(0, 300, 1260),))
    assert alone.lost[0].codes == ("dark",)
    assert alone.lost[0].end == pytest.approx(dawn, abs=6)
    assert alone.lost[-1].codes == ("dark",)
    assert alone.lost[-1].start == pytest.approx(dusk, abs=6)
    assert alone.windows == ()


def test_a_safer_stretch_of_a_day_is_offered_at_its_own_risk() -> None:
    breezy = {h: {"gust_mps": 22 * MPS_PER_MPH} for h in range(12, 17)}
    found = windows(weather(breezy))
    risks = {(w.start, w.end): w.risk_cents for w in found.windows}
    assert risks[480, 720] < 100
    assert risks[480, 1020] > 5_000
    assert max(risks.values()) == risks[480, 1020]


def test_without_a_forecast_hours_stay_open_at_the_usual_chance() -> None:
    found = windows(None)
    assert [(w.start, w.end) for w in found.windows] == [(480, 1020)]
    assert found.windows[0].risk_cents > 1_000
    assert found.unforecast == (Span(0, 480, 1020),)


def test_hours_missing_within_a_forecast_are_told() -> None:
    whole = weather()
    holed = Forecast(whole.source, whole.issued, tuple(h for n, h in enumerate(whole.hours) if n not in (11, 12)))
    found = windows(holed)
    assert found.unforecast == (Span(0, 660, 780),)
    risks = {(w.start, w.end): w.risk_cents for w in found.windows}
    assert risks[480, 660] < 100
    assert risks[480, 1020] > 1_000


def test_the_wait_after_thunder_beside_a_missing_hour_is_priced_for_its_half_hour() -> None:
    """Thunder is 30 % likely from 10 to 11, and of 11 to 12 there is no forecast: from 11:30 on only that."""
    whole = weather({10: {"thunder_chance": 0.3}})
    holed = Forecast(whole.source, whole.issued, tuple(h for n, h in enumerate(whole.hours) if n != 11))
    for minutes in (20, 60):
        risks = {(w.start, w.end): w.risk_cents for w in windows(holed, WeatherWork("install", minutes)).windows}
        unforecast = windows(
            None, WeatherWork("install", minutes), hours=(Span(0, 690, 720),) if minutes == 20 else DAY
        )
        assert risks[690, 1020] < 0.3 * 40_000
        if minutes == 20:
            assert risks[690, 1020] == unforecast.windows[0].risk_cents
        assert risks[720, 1020] < 100


def waiting(minutes: int) -> LimitTable:
    """The usual limits with so long a wait after thunder."""
    rows = DEFAULT_LIMITS.rows
    return LimitTable(
        tuple(msgspec.structs.replace(r, value=minutes) if r.measure == "thunder_wait_min" else r for r in rows)
    )


@pytest.mark.parametrize("missing", [(), (11,), (12,), (11, 12, 13, 14)])
@pytest.mark.parametrize("wait", [30, 60, 90, 150, 240])
def test_a_wait_after_thunder_is_priced_for_as_long_as_it_is(wait: int, missing: tuple[int, ...]) -> None:
    """Thunder is 30 % likely from 10 to 11: a visit within the wait costs that, however many hours it touches."""
    whole = weather({10: {"thunder_chance": 0.3}})
    holed = Forecast(whole.source, whole.issued, tuple(h for n, h in enumerate(whole.hours) if n not in missing))
    over = 660 + wait

    def cents(start: int, minutes: int = 20) -> int:
        hours = (Span(0, start, start + minutes),)
        found = windows(holed, WeatherWork("install", minutes), hours=hours, limits=waiting(wait))
        return found.windows[0].risk_cents

    def known(start: int) -> bool:
        return start // 60 not in missing and (start + 19) // 60 not in missing

    dear = 0.3 * 40_000
    unforecast = max(w.risk_cents for w in windows(None, WeatherWork("install", 20)).windows)
    for start in range(660, over, 10):
        assert dear - 1 <= cents(start) <= dear + (10 if known(start) else unforecast), start
    for start in range(over, 960, 10):
        assert cents(start) <= (10 if known(start) else unforecast), start
    if wait >= 150 and not missing:
        assert cents(660, 150) <= dear + 50  # the thunder of one hour is lost to once, not once an hour
        assert cents(600, 210) <= dear + 50


def test_a_long_wait_after_thunder_late_in_the_evening_reaches_into_the_next_day() -> None:
    late = weather({23: {"thunder_chance": 0.3}}, days=2)
    early = (Span(1, 0, 180),)
    limits = waiting(240)
    rows = tuple(r for r in limits.rows if r.measure != "daylight_margin_min")
    found = windows(late, WeatherWork("install", 60), hours=early, limits=LimitTable(rows))
    assert max(w.risk_cents for w in found.windows) >= 0.3 * 40_000 - 1


@pytest.mark.parametrize("kind", ["survey", "install", "service"])
@pytest.mark.parametrize("more", [{}, {"tall_ladder": True}, {"large_awning": True}, {"sealant": True}])
def test_no_hour_without_forecast_is_safer_than_a_calm_one_forecast(kind: str, more: dict[str, bool]) -> None:
    """At any lead time; rain given as an amount of none, whose chance is then that of a miss."""
    work = WeatherWork(kind, 120, **more)  # type: ignore[arg-type]
    dearest = max(w.risk_cents for w in windows(None, work).windows)
    for lead_h in (0, 24, 72, 168, 300):
        calm = weather()
        dry = tuple(msgspec.structs.replace(h, rain_chance=None, wind_mps=0.0) for h in calm.hours)
        calm = Forecast(calm.source, calm.issued - datetime.timedelta(hours=lead_h), dry)
        assert max(w.risk_cents for w in windows(calm, work).windows) <= dearest


def test_an_old_forecast_is_trusted_less() -> None:
    breezy = weather({h: {"gust_mps": 18 * MPS_PER_MPH} for h in range(24)})
    old = Forecast(breezy.source, breezy.issued - datetime.timedelta(days=6), breezy.hours)
    assert windows(old).windows[0].risk_cents > 2 * windows(breezy).windows[0].risk_cents


@pytest.mark.parametrize(
    ("date", "first", "hours_from_utc_midnight"),
    [(datetime.date(2027, 3, 14), 180, 4), (datetime.date(2027, 11, 7), 120, 5), (datetime.date(2027, 5, 3), 0, 4)],
)
def test_on_a_day_with_a_clock_change_the_longer_side_is_worked(
    date: datetime.date, first: int, hours_from_utc_midnight: int
) -> None:
    local = local_day(date, zoneinfo.ZoneInfo(ZONE))
    assert (local.first, local.last) == (first, 1440)
    noon = local.midnight + datetime.timedelta(minutes=720)
    assert noon == datetime.datetime.combine(date, datetime.time(12), zoneinfo.ZoneInfo(ZONE))
    assert local.midnight.hour == hours_from_utc_midnight


@pytest.mark.parametrize(
    ("zone", "date", "first", "last"),
    [
        ("Australia/Lord_Howe", datetime.date(2027, 10, 3), 150, 1440),  # half an hour forward at 02:00
        ("Australia/Lord_Howe", datetime.date(2027, 4, 4), 120, 1440),  # half an hour back at 02:00
        ("America/Havana", datetime.date(2027, 3, 14), 60, 1440),  # at midnight
        ("Pacific/Apia", datetime.date(2011, 12, 30), 1440, 1440),  # a date that never was
    ],
)
def test_clock_changes_elsewhere(zone: str, date: datetime.date, first: int, last: int) -> None:
    local = local_day(date, zoneinfo.ZoneInfo(zone))
    assert (local.first, local.last) == (first, last)


@pytest.mark.parametrize("date", [datetime.date(2027, 3, 14), datetime.date(2027, 11, 7)])
def test_weather_falls_on_the_right_hours_of_a_day_with_a_clock_change(date: datetime.date) -> None:
    noon = datetime.datetime.combine(date, datetime.time(12), zoneinfo.ZoneInfo(ZONE)).astimezone(datetime.UTC)
    calm = weather(date=date, days=2)
    gusty = tuple(msgspec.structs.replace(h, gust_mps=20.0) if h.start == noon else h for h in calm.hours)
    found = work_windows(
        (Span(0, 0, 1440),), date, ZONE, SITE, Forecast("t", calm.issued, gusty), INSTALL, DEFAULT_LIMITS, None, 40_000
    )
    gusts = [(lost.start, lost.end) for lost in found.lost if lost.codes == ("gust",)]
    assert gusts == [(720, 780)]
    assert found.lost[0].codes == ("clock change",)


def test_what_is_remembered_of_a_forecast_goes_by_all_that_it_says() -> None:
    """Equal forecasts give the same though they are two; one that differs in a single value of one hour does not."""
    gusty, alike = (weather({13: {"gust_mps": 31 * MPS_PER_MPH}}, days=7) for _ in range(2))
    assert gusty is not alike
    found = windows(gusty)
    assert windows(alike) == found
    for change in ({"gust_mps": 11.0}, {"thunder_chance": 0.3}, {"temp_c": -20.0}):
        hours = [*gusty.hours[:10], msgspec.structs.replace(gusty.hours[10], **change), *gusty.hours[11:]]
        assert windows(msgspec.structs.replace(gusty, hours=tuple(hours))) != found
    older = msgspec.structs.replace(gusty, issued=gusty.issued - datetime.timedelta(days=4))
    assert windows(older) != found
    stricter = [r if r.measure != "gust_mph" else msgspec.structs.replace(r, value=1.0) for r in DEFAULT_LIMITS.rows]
    windy = weather({10: {"gust_mps": 3.0}})
    assert windows(windy, limits=LimitTable(tuple(stricter))) != windows(windy)
    assert windows(gusty) == found


@pytest.mark.parametrize(
    ("more", "where"),
    [
        ({"timezone": "Atlantis/Capital"}, "timezone"),
        ({"customer_hours": (Span(0, 600, 600),)}, "customer_hours[0]"),
        ({"customer_hours": (Span(0, 600, 1500),)}, "customer_hours[0]"),
        ({"crew_hours": (Span(0, -5, 600),)}, "crew_hours[0]"),
        ({"work": WeatherWork("install", 0)}, "work.minutes"),
    ],
)
def test_what_cannot_be_is_refused(more: dict[str, object], where: str) -> None:
    with pytest.raises(BadInput) as fault:
        windows(weather(), **more)  # type: ignore[arg-type]
    assert fault.value.where == where
