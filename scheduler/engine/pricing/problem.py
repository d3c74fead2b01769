"""The pricing of one crew day as the compiled code reads it: named tuples of arrays.

All arrays are local to the crew day: its n candidate jobs are numbered from 0, and row and column n of the matrices are
the yard. Sets of jobs are bits in words of 64.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from scheduler.engine.model.schedule import Rest

INF = 1e18  # more than any plan costs, in cents


class Hours(NamedTuple):
    """The shift in minutes after midnight, `latest` with overtime; `rests`: whether it is long enough for a rest."""

    start: int
    end: int
    latest: int
    rests: bool
    rest: Rest


class Stops(NamedTuple):
    """Ways and services: minutes, metres and their price in cents between places; minutes of each service.

    Option o, from `ptr[j]` to `ptr[j + 1]` those of job j, starts from `lo[o]` to `hi[o]` and costs `cost[o]` cents.
    """

    minutes: Any  # (n + 1, n + 1)
    metres: Any  # (n + 1, n + 1)
    way: Any  # (n + 1, n + 1)
    service: Any
    ptr: Any
    lo: Any
    hi: Any
    cost: Any
    pause: Any  # whether the rest falls within the service
    last: Any  # the latest start of each job in any option
    soonest: Any  # minutes from the end of a service to an arrival elsewhere, whatever lies between, by `item`
    item: Any  # each job's row and column there


class Loads(NamedTuple):
    """What the van carries, and helpers that each job asks for beyond the crew.

    spare_weight, spare_boxes: by steps of `width` minutes, what a van may hold after a service that ends then and still
    take all that it can come to: to hold less is no advantage.
    """

    weight: Any
    payload: int
    boxes: Any
    max_boxes: int
    helpers: Any
    reload: int  # minutes at the yard for another load, -1 where there is none
    spare_weight: Any
    spare_boxes: Any
    width: int


class Follows(NamedTuple):
    """Order among the jobs of a route: which jobs must not come before each, and which pairs have a price.

    Pair p costs its price where `then[p]` is served and `first[p]` (all of them: `firsts`) was not before it.
    """

    forbidden: Any  # (n, words)
    first: Any
    then: Any
    firsts: Any  # (words,)
    bit: Any  # (n, words): each job alone as a set
    free: Any  # (words,): the jobs that are forbidden before none


class Rates(NamedTuple):
    """Cents for the crew's day, its minute, a minute of overtime, a kilometre, and a helper's day."""

    day: int
    minute: float
    overtime: float
    km: int
    helper: int
    pay: int  # cents of the minute that the crew is paid; `minute` holds the price of weekly minutes too
    weekly: bool  # whether minutes out count for more than their pay


class PricingProblem(NamedTuple):
    """Everything about a crew day that prices do not touch; `key[j]` is a random word by which sets are found again."""

    hours: Hours
    stops: Stops
    loads: Loads
    follows: Follows
    rates: Rates
    key: Any


class Duals(NamedTuple):
    """Dual prices: each option's cost less its job's price, and what else is charged or given to a route.

    `crew_day` is given to every route. A helper costs `helper` and a piece e of equipment `gear_price[e]` beyond its
    own cost; `gear[j, e]` are the pieces that job j needs beyond what is on board, priced ones alone.

    A route costs `odd_set_price[c]` for each two rows of the odd set c that it stands in; the bits of `odd_set[j]` are
    the odd sets that job j is in, those of `odd_set_start` the ones that every route of the crew day is in. A label
    that has come to one row of a set forgets it at jobs that have no bit of it in `odd_memory`.
    """

    option: Any
    crew_day: float
    helper: float
    gear: Any  # (n, pieces)
    gear_price: Any
    pair: Any
    odd_set: Any  # (n, words)
    odd_memory: Any  # (n, words)
    odd_set_start: Any  # (words,)
    odd_set_price: Any


class Bounds(NamedTuple):
    """What the rest of a route costs at least (`completion.bounds`), by steps of `width` minutes."""

    width: int
    go: Any
    to: Any
    slip: Any
    slip_to: Any


class Wanted(NamedTuple):
    """Which routes are looked for, and how hard.

    Those whose reduced cost is under `threshold`; with `most` > 0 only so many, the most negative: the threshold falls
    as they are found. `every_set`: labels are compared only where they served the same jobs, so that no set of jobs is
    lost; otherwise a label is also dropped for one that served fewer, and only the most negative routes are sure to
    come out. At most `room` labels are kept, and `beam` (0: no limit) extended at each number of stops. As soon as
    another thread sets `halt[0]` the search ends as if there were no more room.

    At job j a label remembers of the jobs served before it those in `memory[j]` alone: others it may serve again. No
    route costs less than the least found, of which some may hold a job twice.
    """

    every_set: bool
    threshold: float
    most: int
    room: int
    beam: int
    halt: Any  # (1,)
    memory: Any  # (n, words)
