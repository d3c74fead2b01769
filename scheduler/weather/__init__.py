"""Weather, daylight and work windows: when a site can be worked, why not otherwise, and what the risk costs."""
