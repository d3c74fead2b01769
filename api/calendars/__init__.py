"""Calendars of people and crews by their addresses: fetched now and then, looked through before anything is taken."""
