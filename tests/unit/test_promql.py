"""The reader of alerts' expressions, against what Prometheus's documentation says of its language."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests import promtool
from tests.promql import Scraped, evaluate, firing

TOLD = """# TYPE a gauge
a{k="x"} 1
a{k="y"} 3
# TYPE b gauge
b{k="x"} 7
# TYPE c counter
c_total 5
"""


def scraped(*texts: str | None) -> Scraped:
    one = Scraped()
    for text in texts:
        one.add(text)
    return one


EXPRESSIONS = [
    ("a", [1, 3]),
    ('a{k="y"}', [3]),
    ("nothing_of_that_name", []),
    ("a > 2", [3]),
    ("a == 0", []),
    ("sum(a)", [4]),
    ("sum(nothing_of_that_name) == 0", []),  # of nothing there is no sum, not even 0
    ("max by (k) (a) >= 1", [1, 3]),
    ("a > 2 * 24 - 47", [3]),
    ("a > 2e0", [3]),
    ("a and b", [1]),
    ("a and on() b", [1, 3]),
    ("a unless b", [3]),
    ("b or a", [7, 3]),
    ("b or on() a", [7]),
    ("a == 1 or a > 2 and b", [1]),  # and binds more tightly
    ('up{job="eaveboard"} == 1', [1]),
]


@pytest.mark.parametrize(("expression", "values"), EXPRESSIONS)
def test_expressions(expression: str, values: list[float]) -> None:
    assert sorted(evaluate(expression, scraped(TOLD)).values()) == sorted(map(float, values))


@pytest.mark.parametrize("expression", ["a offset 5m", "avg(a)", "a =~ 2", "a >", "(a", "2 + a > 1", "7"])
def test_what_is_not_read_here_is_not_passed_over(expression: str) -> None:
    with pytest.raises((ValueError, TypeError, IndexError)):
        evaluate(expression, scraped(TOLD))


GROWN = [TOLD, TOLD.replace("c_total 5", "c_total 9"), TOLD.replace("c_total 5", "c_total 2")]  # a restart in between


def test_growth_goes_on_to_the_ends_of_its_range_and_a_restart_counts_from_nothing() -> None:
    grown = scraped(*GROWN)
    # 4, then 2 after the restart, in 120 s; from 0 to 5 at that pace took 100 s, so half a step more: 6 * 150 / 120.
    assert list(evaluate("increase(c_total[10m])", grown).values()) == [7.5]
    assert list(evaluate("increase(c_total[1m])", grown).values()) == [2]
    assert list(evaluate("rate(c_total[2m])", grown).values()) == [0.05]
    # Of 600 s a step of 60 was seen, and half a step before it is reckoned with: -2 * 90 / 60.
    assert list(evaluate("delta(a[10m])", scraped(TOLD, TOLD.replace('"y"} 3', '"y"} 1'))).values()) == [0, -3]
    assert evaluate("increase(c_total[10m])", scraped(TOLD)) == {}  # one look tells of no growth


HISTOGRAM = '# TYPE h histogram\nh_bucket{le="1"} 0\nh_bucket{le="2"} 10\nh_bucket{le="+Inf"} 10\nh_sum 1\nh_count 10\n'
OF_A_RANGE = [
    "increase(c_total[10m])", "increase(c_total[1m])", "rate(c_total[2m])", "rate(c_total[90s])", "delta(a[10m])",
    "sum(increase(c_total[3m])) > 3", "delta(a[1h]) < 0 or on() increase(c_total[1h]) > 0",
    "histogram_quantile(0.5, h_bucket)", "histogram_quantile(0.99, sum by (le) (rate(h_bucket[5m]))) > 1",
]  # fmt: skip


@promtool.needed
@pytest.mark.parametrize("then_away", [0, 1, 3])
def test_prometheus_itself_gives_the_same(then_away: int, tmp_path: Path) -> None:
    grown = scraped(
        *(text + HISTOGRAM.replace("10\n", f"{n}0\n") for n, text in enumerate(GROWN, 1)), *[None] * then_away
    )
    asked = [expression for expression, _ in EXPRESSIONS] + OF_A_RANGE
    expected = {expression: evaluate(expression, grown) for expression in asked}
    assert sum(map(bool, expected.values())) > 3  # or there would be little to differ in
    assert promtool.differences(grown, tmp_path, expected) == ""
    expected["b"] = {frozenset({("__name__", "b")}): 1.0}
    said = promtool.differences(grown, tmp_path, expected)
    assert 'expr: "b"' in said  # it does tell what differs


def test_a_quantile_lies_within_its_bucket() -> None:
    assert list(evaluate("histogram_quantile(0.5, h_bucket)", scraped(HISTOGRAM)).values()) == [1.5]
    nothing = HISTOGRAM.replace("} 10", "} 0")
    assert [math.isnan(one) for one in evaluate("histogram_quantile(0.5, h_bucket)", scraped(nothing)).values()] == [
        True
    ]
    assert evaluate("histogram_quantile(0.5, h_bucket) > 0", scraped(nothing)) == {}


def test_an_alert_fires_once_it_has_been_so_for_as_long_as_it_says() -> None:
    rule = {"expr": "b > 5", "for": "3m"}
    quiet = TOLD.replace("} 7", "} 2")
    one = scraped(quiet, TOLD, TOLD, TOLD)
    assert not firing(rule, one)
    one.add(TOLD)
    assert firing(rule, one)
    one.add(quiet)
    assert not firing(rule, one)
    one.add(None)
    assert firing({"expr": 'up{job="eaveboard"} == 0'}, one)
    assert not firing({"expr": "b > 0"}, one)
