"""A crew's day on record: who rides, its slow hours, its lifts and loads, days in a row."""
