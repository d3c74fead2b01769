"""Words that the service keeps as they stand and pages show: each is said by `gettext` where it is shown."""

from __future__ import annotations

from api.languages import to_say

# Where the first days lead; roles of accounts and parts of days; kinds and states of visits; how a time is held, and
# how it ended.
CODES = (
    to_say("manager"), to_say("office"), to_say("crew lead"), to_say("read-only"),
    to_say("morning"), to_say("afternoon"), to_say("day"),
    to_say("install"), to_say("repair"), to_say("survey"), to_say("service"), to_say("callback"),
    to_say("open"), to_say("done"), to_say("cancelled"),
    to_say("firm: crew, day and hour"), to_say("the day"), to_say("may still move"),
    to_say("short kit"), to_say("weather"), to_say("crew away"), to_say("customer's call"), to_say("something else"),
    to_say("○ still to tell"), to_say("▲ not sent"), to_say("… being sent"), to_say("✓ told"), to_say("dropped"),
    to_say("✓ has a new time"), to_say("○ waits"), to_say("✓ stays as it was"), to_say("▲ needs a time"),
    to_say("open: it waits for its day"), to_say("cancelled: nobody goes there"),
    to_say("at risk"), to_say("broken"), to_say("new"), to_say("changed"), to_say("unchanged"),
    to_say("day broken"), to_say("firm broken"), to_say("other crew"), to_say("other time"), to_say("other day"),
    to_say("good"), to_say("marked"), to_say("damaged"), to_say("telephone"), to_say("e-mail"), to_say("lead"),
    to_say("Lists as you have them"), to_say("Take tables in"), to_say("Name it"), to_say("Change it"),
    to_say("Set up"),
    to_say("Who may sign in"), to_say("Jobs"), to_say("Bench"), to_say("Week sheet"), to_say("helper"),
    to_say("the order that it belongs to"), to_say("yard at which the crates lie or arrive"),
    to_say("storeys of the house"), to_say("year in which it was built; empty: unknown"),
    to_say("the order that it belongs to; may be empty"), to_say("the awning; an install needs one"),
    to_say("side of the motor, left or right; empty: a crank"), to_say("where it is"), to_say("where it goes"),
    to_say("Try it now, and see what is known"), to_say("Try it now, or take a file in"),
    to_say("people"), to_say("stock"), to_say("customers"), to_say("sites"), to_say("orders"), to_say("awnings"),
    to_say("maker parts"), to_say("visits"), to_say("whose it is"), to_say("day of the sale"),
    to_say("masonry"), to_say("stucco"), to_say("roof mount"), to_say("motor set-up"),
    to_say("wall"), to_say("zero"), to_say("crate"), to_say("work"),
)  # fmt: skip
