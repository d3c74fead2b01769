"""Exchange with the rest of the world: tables in and out, calendars, routes, and what is printed.

Plain functions: a session or plain values in, bytes or text out. Routes and commands are thin over them.
"""
