"""Pricing of crew days spread over an executor: prices go out, columns come back.

Each process keeps the model that it was sent last, by a word that names it; one that does not know the word says so and
is sent the model. So a process that was begun in mid-search catches up by itself, and none is told what it knows.
"""

from __future__ import annotations

import secrets
from collections import OrderedDict
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace

from scheduler.engine.model.arrays import Model
from scheduler.engine.pricing.crew_day import Day, Priced, Prices

SHARES = 3  # a round for each of those at work: crew days take very different times
POLL_S = 0.2
_KEPT = 2


@dataclass(frozen=True)
class Elsewhere:
    """An executor that many work for, and how many tasks it takes at once."""

    executor: Executor
    at_once: int


@dataclass(frozen=True)
class Round:
    """What is looked for in a round of pricing, as of `Day.search`."""

    prices: Prices
    threshold: float
    room: int
    beam: int
    most: int
    steps: int


class SpreadPricing:
    """The pricing of one model's crew days by `elsewhere`; check: asked while it waits, raises to end the search."""

    def __init__(self, model: Model, seed: int, elsewhere: Elsewhere, check: Callable[[], None]) -> None:
        self._model, self._seed, self._elsewhere, self._check = model, seed, elsewhere, check
        self._word = secrets.token_hex(8)

    def search(self, days: Sequence[int], wanted: Round) -> dict[int, Priced]:
        """Return what `Day.search` finds for each of these crew days. Raises what `check` or the executor raises."""
        shares = min(len(days), SHARES * self._elsewhere.at_once)
        parts = [list(days[n::shares]) for n in range(shares)]
        submit = self._elsewhere.executor.submit
        asked: list[tuple[list[int], Round]] = [(part, _only(wanted, part)) for part in parts]
        going = [submit(price, self._word, None, self._seed, *one) for one in asked]
        found: dict[int, Priced] = {}
        for one, future in zip(asked, going, strict=True):
            priced = self._result(future)
            if priced is None:
                priced = self._result(submit(price, self._word, self._model, self._seed, *one))
            found |= priced or {}
        return found

    def _result(self, future: Future[dict[int, Priced] | None]) -> dict[int, Priced] | None:
        while True:
            self._check()
            try:
                return future.result(timeout=POLL_S)
            except TimeoutError:
                if future.done():
                    raise


def _only(wanted: Round, days: Sequence[int]) -> Round:
    """Return the round with the prices of these crew days' jobs alone: the others need not travel."""
    own, prices = set(days), wanted.prices
    job = [one if k in own else None for k, one in enumerate(prices.job)]
    pair = [one if k in own else None for k, one in enumerate(prices.pair)]
    return replace(wanted, prices=replace(prices, job=job, pair=pair))


_models: OrderedDict[str, tuple[Model, dict[int, Day]]] = OrderedDict()


def price(word: str, model: Model | None, seed: int, days: Sequence[int], wanted: Round) -> dict[int, Priced] | None:
    """Return what is found for each crew day; None where no model is known by `word` and none is sent."""
    if word not in _models:
        if model is None:
            return None
        _models[word] = (model, {})
        while len(_models) > _KEPT:
            _models.popitem(last=False)
    known, own = _models[word]
    _models.move_to_end(word)
    found = {}
    for k in days:
        day = own.get(k) or own.setdefault(k, Day(known, k, seed))
        found[k] = day.search(
            wanted.prices,
            wanted.threshold,
            every_set=False,
            room=wanted.room,
            beam=wanted.beam,
            most=wanted.most,
            steps=wanted.steps,
        )
    return found
