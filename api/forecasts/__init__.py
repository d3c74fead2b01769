"""Where forecasts come from: a file, the US National Weather Service or an Open-Meteo service, by address.

`forecast_for` in `sources` is the one call: it answers with the best forecast that can be had, which is the last good
one, its age shown, when the service cannot be reached. Forecasts are planning figures: what the crew lead sees on the
spot decides.
"""
