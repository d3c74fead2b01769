"""The reader of alerts' expressions, against what Prometheus's documentation says of its language."""

from __future__ import annotations

import math

import pytest

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


@pytest.mark.parametrize(
    ("expression", "values"),
    [
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
    ],
)
def test_expressions(expression: str, values: list[float]) -> None:
    assert sorted(evaluate(expression, scraped(TOLD)).values()) == sorted(map(float, values))


@pytest.mark.parametrize("expression", ["a offset 5m", "avg(a)", "a =~ 2", "a >", "(a", "2 + a > 1", "7"])
def test_what_is_not_read_here_is_not_passed_over(expression: str) -> None:
    with pytest.raises((ValueError, TypeError, IndexError)):
        evaluate(expression, scraped(TOLD))


def test_growth_is_that_of_the_range_and_a_restart_counts_from_nothing() -> None:
    grown = scraped(TOLD, TOLD.replace("c_total 5", "c_total 9"), TOLD.replace("c_total 5", "c_total 2"))
    assert list(evaluate("increase(c_total[10m])", grown).values()) == [6]  # 4, then 2 after a restart
    assert list(evaluate("increase(c_total[1m])", grown).values()) == [2]
    assert list(evaluate("rate(c_total[2m])", grown).values()) == [0.05]
    assert list(evaluate("delta(a[10m])", scraped(TOLD, TOLD.replace('"y"} 3', '"y"} 1'))).values()) == [0, -2]
    assert evaluate("increase(c_total[10m])", scraped(TOLD)) == {}  # one look tells of no growth


def test_a_quantile_lies_within_its_bucket() -> None:
    told = '# TYPE h histogram\nh_bucket{le="1"} 0\nh_bucket{le="2"} 10\nh_bucket{le="+Inf"} 10\nh_sum 1\nh_count 10\n'
    assert list(evaluate("histogram_quantile(0.5, h_bucket)", scraped(told)).values()) == [1.5]
    nothing = told.replace("} 10", "} 0")
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
