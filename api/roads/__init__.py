"""Travel times from roads: a local extract, a table service, a cache of both, and the estimate behind them."""

from api.roads.sources import EstimateOnly, Extract, Service, Source, SourceFailed
from api.roads.travel import travel_times

__all__ = ["EstimateOnly", "Extract", "Service", "Source", "SourceFailed", "travel_times"]
