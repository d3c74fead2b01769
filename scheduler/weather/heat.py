"""Heat index: how hot the air feels in the shade, by the US National Weather Service's equation.

Full sun can add up to 15 °F (8 °C) to it. It is a planning figure: a crew's own heat plan, water, shade and
acclimatisation come first.
"""

from __future__ import annotations

import functools
import math

BANDS_VERSION = "NWS heat index chart with danger from 103 °F (a second chart, NWS Tulsa's, has 105 and 130 °F)"
# Lower edge of each band in °F. The chart with the lower edges is used, since it is the more cautious of the two.
BANDS_F = ((125.0, "extreme danger"), (103.0, "danger"), (90.0, "extreme caution"), (80.0, "caution"))


def heat_index_f(temp_f: float, humidity_pct: float) -> float:
    """Return the heat index in °F of air at `temp_f` °F with a relative humidity of 0 to 100 %.

    Rothfusz's regression (NWS technical attachment SR 90-23) with both adjustments, and Steadman's simple form below
    80 °F, as the Weather Prediction Center's page on the equation sets out. Good to about 1.3 °F of the tables.
    """
    t, r = temp_f, humidity_pct
    simple = (0.5 * (t + 61.0 + (t - 68.0) * 1.2 + r * 0.094) + t) / 2
    if simple < 80:
        return simple
    index = (
        -42.379 + 2.04901523 * t + 10.14333127 * r - 0.22475541 * t * r - 0.00683783 * t * t - 0.05481717 * r * r
        + 0.00122874 * t * t * r + 0.00085282 * t * r * r - 0.00000199 * t * t * r * r
    )  # fmt: skip
    if r < 13 and 80 <= t <= 112:
        index -= (13 - r) / 4 * math.sqrt((17 - abs(t - 95)) / 17)
    elif r > 85 and 80 <= t <= 87:
        index += (r - 85) / 10 * (87 - t) / 5
    return index


def band(index_f: float) -> str:
    """Return the name of the band (`BANDS_VERSION`) that a heat index in °F falls in; empty below the first."""
    return next((name for edge, name in BANDS_F if index_f >= edge), "")


@functools.lru_cache(maxsize=4096)
def temp_at_heat_index_f(index_f: float, humidity_pct: float) -> float:
    """Return the air temperature in °F at which the heat index reaches `index_f` at that humidity.

    By halving between 40 and 160 °F; where the index never gets there (or is always above), that end is returned.
    """
    low, high = 40.0, 160.0
    for _ in range(40):
        middle = (low + high) / 2
        if heat_index_f(middle, humidity_pct) < index_f:
            low = middle
        else:
            high = middle
    return high


def fahrenheit(temp_c: float) -> float:
    """Return degrees Celsius as degrees Fahrenheit."""
    return temp_c * 1.8 + 32
