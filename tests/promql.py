"""Expressions and alerts of Prometheus over what was scraped: as much of its language as `ops/watch/alerts.yaml` uses.

    scraped = Scraped()
    scraped.add(text_of_metrics)          # None: nothing answered
    firing(rule, scraped)

Where the language does more than is read here, reading fails: nothing is passed over. What is read gives what
Prometheus gives (tests/promtool.py asks it); it is here so that alerts are tested where there is none, at every moment.
"""

from __future__ import annotations

import itertools
import math
import operator
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from prometheus_client.parser import text_string_to_metric_families

EVERY_S = 60.0
JOB = "eaveboard"
Labels = frozenset[tuple[str, str]]
Vector = dict[Labels, float]
Value = Vector | float
_UNITS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}
_TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+(?:\.\d+)?(?:e[+-]?\d+)?)(?![\w.])|(?P<span>\d+[smhd])|(?P<name>[a-zA-Z_]\w*)"
    r'|(?P<text>"[^"]*")|(?P<sign>==|!=|>=|<=|[-+*/><(){}\[\],=]))'
)
_COMPARED: dict[str, Callable[[float, float], bool]] = {
    "==": operator.eq, "!=": operator.ne, ">": operator.gt, "<": operator.lt, ">=": operator.ge, "<=": operator.le,
}  # fmt: skip
_RECKONED: dict[str, Callable[[float, float], float]] = {
    "+": operator.add, "-": operator.sub, "*": operator.mul, "/": operator.truediv,
}  # fmt: skip
_GATHERED: dict[str, Callable[[Sequence[float]], float]] = {"sum": sum, "max": max, "min": min, "count": len}


@dataclass
class Scraped:
    """What was scraped, every `EVERY_S` seconds: by time, the value of each series."""

    samples: list[tuple[float, Vector]] = field(default_factory=list)

    def add(self, text: str | None, times: int = 1) -> None:
        """Add a scrape, or the same one several times in a row; None: nothing answered."""
        here = frozenset({("job", JOB), ("instance", "here")})
        told: Vector = {here | {("__name__", "up")}: float(text is not None)}
        for family in text_string_to_metric_families(text or ""):
            for sample in family.samples:
                told[here | {("__name__", sample.name), *sample.labels.items()}] = sample.value
        for _ in range(times):
            self.samples.append((self.samples[-1][0] + EVERY_S if self.samples else 0.0, told))

    def until(self, end: float) -> Scraped:
        return Scraped([one for one in self.samples if one[0] <= end])


def firing(rule: Mapping[str, Any], scraped: Scraped) -> bool:
    """Say whether an alert fires at the last scrape: so at every scrape for as long as its `for` says."""
    held = span(rule.get("for", "0s"))
    end = scraped.samples[-1][0]
    if held > end:
        return False
    return all(evaluate(rule["expr"], scraped.until(at)) for at, _ in scraped.samples if end - held <= at <= end)


def evaluate(expression: str, scraped: Scraped) -> Vector:
    """Return what an expression gives at the last scrape; raises `ValueError` where it cannot be read here."""
    reader = _Reader(expression, scraped)
    value = reader.either()
    reader.ends()
    if isinstance(value, float):
        raise TypeError(f"{expression}: gives a number, no series")
    return value


def span(text: str) -> float:
    """Return the seconds of a span such as 10m."""
    return float(text[:-1]) * _UNITS[text[-1]]


class _Reader:
    """Reads an expression and works it out as it goes, weakest binding first."""

    def __init__(self, expression: str, scraped: Scraped) -> None:
        self._scraped, self._at, self._tokens = scraped, 0, list[tuple[str, str]]()
        place = 0
        while expression[place:].strip():
            found = _TOKEN.match(expression, place)
            if found is None or found.lastgroup is None:
                raise ValueError(f"cannot be read here: {expression[place:]}")
            self._tokens.append((found.lastgroup, found[found.lastgroup]))
            place = found.end()

    def ends(self) -> None:
        if self._at < len(self._tokens):
            raise ValueError(f"cannot be read here: {self._tokens[self._at :]}")

    def either(self) -> Value:
        left = self._both()
        while self._took("or"):
            on = self._on()
            right = self._both()
            assert isinstance(left, dict)
            assert isinstance(right, dict)
            have = {_matched(labels, on) for labels in left}
            left = left | {labels: value for labels, value in right.items() if _matched(labels, on) not in have}
        return left

    def _both(self) -> Value:
        left = self._compared()
        while self._next() in ("and", "unless"):
            without, on = self._take() == "unless", self._on()
            right = self._compared()
            assert isinstance(left, dict)
            assert isinstance(right, dict)
            have = {_matched(labels, on) for labels in right}
            left = {labels: value for labels, value in left.items() if (_matched(labels, on) in have) != without}
        return left

    def _compared(self) -> Value:
        left = self._summed()
        while self._next() in _COMPARED:
            holds, right = _COMPARED[self._take()], self._summed()
            if not isinstance(left, dict) or isinstance(right, dict):
                raise ValueError("only a series is compared, and with a number")
            left = {labels: value for labels, value in left.items() if holds(value, right)}
        return left

    def _summed(self) -> Value:
        left = self._times()
        while self._next() in ("+", "-"):
            left = _reckoned(self._take(), left, self._times())
        return left

    def _times(self) -> Value:
        left = self._one()
        while self._next() in ("*", "/"):
            left = _reckoned(self._take(), left, self._one())
        return left

    def _one(self) -> Value:
        kind, text = self._tokens[self._at]
        if kind == "number":
            return float(self._take())
        if self._took("("):
            value = self.either()
            self._need(")")
            return value
        if kind != "name":
            raise ValueError(f"cannot be read here: {text}")
        self._at += 1
        if text in _GATHERED:
            return self._gathered(_GATHERED[text])
        if self._next() == "(":
            return self._called(text)
        return self._series(text)

    def _gathered(self, gather: Callable[[Sequence[float]], float]) -> Vector:
        by = self._names() if self._took("by") else frozenset()
        self._need("(")
        inner = self.either()
        self._need(")")
        assert isinstance(inner, dict)
        groups: dict[Labels, list[float]] = {}
        for labels, value in inner.items():
            groups.setdefault(_matched(labels, by), []).append(value)
        return {labels: float(gather(values)) for labels, values in groups.items()}

    def _called(self, name: str) -> Vector:
        self._need("(")
        if name in ("increase", "rate", "delta"):
            kind, text = self._tokens[self._at]
            if kind != "name":
                raise ValueError(f"cannot be read here: {text}")
            self._at += 1
            labels = self._labels(text)
            self._need("[")
            seconds = span(self._take())
            self._need("]")
            self._need(")")
            return self._grown(name, labels, seconds)
        if name == "histogram_quantile":
            quantile = self._one()
            self._need(",")
            inner = self.either()
            self._need(")")
            assert isinstance(quantile, float)
            assert isinstance(inner, dict)
            return _quantile(quantile, inner)
        raise ValueError(f"cannot be read here: {name}()")

    def _series(self, name: str) -> Vector:
        labels = self._labels(name)
        return {one: value for one, value in self._scraped.samples[-1][1].items() if labels <= one}

    def _labels(self, name: str) -> Labels:
        labels = {("__name__", name)}
        if self._took("{"):
            while not self._took("}"):
                key = self._take()
                self._need("=")
                labels.add((key, self._take().strip('"')))
                self._took(",")
        return frozenset(labels)

    def _grown(self, name: str, labels: Labels, seconds: float) -> Vector:
        end = self._scraped.samples[-1][0]
        series: dict[Labels, list[tuple[float, float]]] = {}
        for at, told in self._scraped.samples:
            if end - seconds <= at <= end:
                for one, value in told.items():
                    if labels <= one:
                        series.setdefault(one - {("__name__", dict(one)["__name__"])}, []).append((at, value))
        found = {}
        for one, samples in series.items():
            if len(samples) > 1:
                grown = _extrapolated(samples, end - seconds, end, counts=name != "delta")
                found[one] = grown / seconds if name == "rate" else grown
        return found

    def _on(self) -> frozenset[str] | None:
        return self._names() if self._took("on") else None

    def _names(self) -> frozenset[str]:
        self._need("(")
        names = set()
        while not self._took(")"):
            names.add(self._take())
            self._took(",")
        return frozenset(names)

    def _next(self) -> str:
        return self._tokens[self._at][1] if self._at < len(self._tokens) else ""

    def _take(self) -> str:
        self._at += 1
        return self._tokens[self._at - 1][1]

    def _took(self, text: str) -> bool:
        if self._next() != text:
            return False
        self._at += 1
        return True

    def _need(self, text: str) -> None:
        if not self._took(text):
            raise ValueError(f'"{text}" is lacking before {self._tokens[self._at :]}')


def _matched(labels: Labels, on: frozenset[str] | None) -> Labels:
    """Return the labels by which series are matched: those named, else all but their own name."""
    return frozenset(one for one in labels if (one[0] != "__name__" if on is None else one[0] in on))


def _reckoned(sign: str, left: Value, right: Value) -> Value:
    if isinstance(left, dict) or isinstance(right, dict):
        raise ValueError("only numbers are reckoned with")
    return _RECKONED[sign](left, right)


def _extrapolated(samples: Sequence[tuple[float, float]], start: float, end: float, *, counts: bool) -> float:
    """Return how much a series grows from `start` to `end`, of its samples (time, value) between, as Prometheus does.

    Growth goes on beyond the first and last sample to the range's ends, or half a step where an end is further than a
    step and a tenth away; a count never from below nothing. Where a count falls it was begun anew.
    """
    values = [value for _, value in samples]
    first, last = samples[0][0], samples[-1][0]
    grown = values[-1] - values[0]
    before, after = first - start, end - last
    if counts:
        grown += sum(a for a, b in itertools.pairwise(values) if b < a)
        if grown > 0 and values[0] >= 0:
            before = min(before, (last - first) * (values[0] / grown))
    step = (last - first) / (len(samples) - 1)
    beyond = sum(gap if gap < 1.1 * step else step / 2 for gap in (before, after))
    return grown * ((last - first + beyond) / (last - first))


def _quantile(quantile: float, buckets: Vector) -> Vector:
    """Return the quantile of histograms, straight within the bucket that holds it; without any requests it is NaN."""
    groups: dict[Labels, list[tuple[float, float]]] = {}
    for labels, value in buckets.items():
        bound = dict(labels)["le"]
        others = frozenset(one for one in labels if one[0] not in ("le", "__name__"))
        groups.setdefault(others, []).append((math.inf if bound == "+Inf" else float(bound), value))
    found: Vector = {}
    for labels, group in groups.items():
        group.sort()
        rank, below, under = quantile * group[-1][1], 0.0, 0.0
        if not group[-1][1]:
            found[labels] = math.nan
            continue
        for bound, count in group:
            if count >= rank:
                found[labels] = (
                    below if bound == math.inf else below + (bound - below) * (rank - under) / (count - under)
                )
                break
            below, under = bound, count
    return found
