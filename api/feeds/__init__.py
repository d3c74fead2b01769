"""What other programs read of a crew's days: calendars and routes for maps."""
