"""Files and calendars that come into the office."""
