"""What offices send as a file, read as rows: tables, contacts, calendars."""
