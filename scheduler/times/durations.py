"""How long a visit takes on site: a table of task times that a business edits, and the estimate from it.

The table is CSV, `kind,task,per,value,shared,source`. A row adds `value` minutes for a crew of two for each of what
`per` names ("visit", "bracket", "hole in concrete" …; `PER` has them all). `shared` is the part of the task that
divides among hands: 0, more hands do not shorten it; 1, twice the hands, half the time. One row a kind of visit, task
`uncertainty`, `per` `p80 factor`, says by what the estimate (P50, as often too long as too short) is multiplied for the
time that suffices four times in five (P80). Travel, rest and waiting are not in it.
"""

from __future__ import annotations

import csv
import io
import math
from typing import Annotated, Literal, get_args

import msgspec
from msgspec import Meta

from scheduler.errors import BadInput
from scheduler.layout.documents import Layout, Survey, WallKind

Kind = Literal["install", "survey", "repair"]
Quantile = Literal["p50", "p65", "p80"]
# How far on the way from P50 to P80 each lies, in logarithms: the standard normal's quantiles, over that of P80.
_ON_THE_WAY: dict[Quantile, float] = {"p50": 0.0, "p65": 0.385320 / 0.841621, "p80": 1.0}
TWO_HANDS = 2
HIGH_FROM_MM = 2500.0
UNCERTAINTY = "uncertainty"
P80 = "p80 factor"
PER = (
    "visit", "metre of width", "bracket", "hood", "metre of hood", "motor", "material lift", "metre above 2.5 m",
    *(f"hole in {kind}" for kind in get_args(WallKind)),
)  # fmt: skip


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Common form of all parts: frozen, every key required, no other key allowed."""


class Work(_Part, frozen=True):
    """What the time of a visit depends on. A survey or repair has no brackets and holes of its own (0)."""

    kind: Kind
    width_mm: Annotated[float, Meta(ge=0, le=20_000)]
    brackets: Annotated[int, Meta(ge=0, le=100)]
    holes: Annotated[int, Meta(ge=0, le=1_000)]
    wall: WallKind
    height_mm: Annotated[float, Meta(ge=0, le=30_000)]
    hood: bool
    motor: bool
    hands: Annotated[int, Meta(ge=1, le=20)]
    material_lift: bool


class TaskTime(_Part, frozen=True):
    kind: Kind
    task: Annotated[str, Meta(min_length=1)]
    per: Annotated[str, Meta(min_length=1)]
    value: Annotated[float, Meta(ge=0, le=1_000)]
    shared: Annotated[float, Meta(ge=0, le=1)]
    source: Annotated[str, Meta(min_length=1)]


class Times(_Part, frozen=True):
    """The table, rows in the order of the file."""

    rows: tuple[TaskTime, ...]

    def p80_factor(self, kind: Kind) -> float:
        return next(row.value for row in self.rows if row.kind == kind and row.task == UNCERTAINTY)

    def tasks(self, kind: Kind) -> tuple[TaskTime, ...]:
        """Return the rows of `kind` that add minutes."""
        return tuple(row for row in self.rows if row.kind == kind and row.task != UNCERTAINTY)


class Estimate(_Part, frozen=True):
    """`by_task` minutes in the order of the table, unrounded; `p50_min` and `p80_min` rounded up to whole minutes."""

    by_task: dict[str, float]
    p50_min: int
    p80_min: int

    def planned_min(self, quantile: Quantile) -> int:
        """Return the minutes that suffice in so many of 100 visits, at least 1; spread as a log-normal is."""
        exact = {"p50": self.p50_min, "p80": self.p80_min}
        usual = max(1, self.p50_min)
        between = math.ceil(usual * quantile_factor(self.p80_min / usual, quantile) - 1e-9)
        return max(1, exact.get(quantile, between))


def quantile_factor(p80_factor: float, quantile: Quantile) -> float:
    """Return by what the median is multiplied to suffice in so many of 100 visits."""
    return float(p80_factor ** _ON_THE_WAY[quantile])


COLUMNS = TaskTime.__struct_fields__


def work_of_install(survey: Survey, layout: Layout, hands: int, material_lift: bool) -> Work:
    """Return what an install's time depends on; `hands` and `material_lift` as `layout.lifting` gives them."""
    awning, fastener = survey.awning, layout.fastener
    return Work(
        kind="install",
        width_mm=awning.width,
        brackets=len(layout.brackets),
        holes=len(layout.brackets) * (awning.bolts if fastener is None else fastener.count),
        wall=survey.wall.kind,
        height_mm=survey.place.height,
        hood=awning.hood,
        motor=awning.motor is not None,
        hands=hands,
        material_lift=material_lift,
    )


def estimate(work: Work, times: Times) -> Estimate:
    """Return the minutes on site by task and together; a task that this visit does not need is left out."""
    by_task: dict[str, float] = {}
    for row, minutes in zip(times.tasks(work.kind), row_minutes(work, times), strict=True):
        if minutes > 0:
            by_task[row.task] = by_task.get(row.task, 0.0) + minutes
    total = sum(by_task.values())
    return Estimate(by_task, _whole(total), _whole(total * times.p80_factor(work.kind)))


def row_minutes(work: Work, times: Times) -> list[float]:
    """Return the minutes that each row of `times.tasks(work.kind)` adds for `work`."""
    counts = _counts(work)
    return [
        row.value * counts.get(row.per, 0.0) * (1 - row.shared + row.shared * TWO_HANDS / work.hands)
        for row in times.tasks(work.kind)
    ]


def read_times(text: str) -> Times:
    """Return the table in CSV `text`; raises `BadInput` naming the line and column that cannot stand.

    Refused are unknown kinds and `per`, numbers out of range, a doubled row, a row without source, a kind of visit
    without its uncertainty row (1 to 5) or without any task.
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise BadInput("first line", f"must be {','.join(COLUMNS)}")
    rows: list[TaskTime] = []
    for cells in reader:
        if any(cells.values()):
            row = task_time_of(f"line {reader.line_num}", cells)
            if any((r.kind, r.task, r.per) == (row.kind, row.task, row.per) for r in rows):
                raise BadInput(
                    f"line {reader.line_num}", f"{row.kind}, {row.task}, {row.per} stands already further up"
                )
            rows.append(row)
    times = Times(tuple(rows))
    for kind in get_args(Kind):
        if not any(row.kind == kind and row.task == UNCERTAINTY for row in rows):
            raise BadInput("table", f'has no row "{kind},{UNCERTAINTY},{P80}", the factor from P50 to P80 (1.25, say)')
        if not any(row.value > 0 for row in times.tasks(kind)):
            raise BadInput("table", f"gives {kind} no minutes at all: add a row for it")
    return times


def times_to_csv(times: Times) -> str:
    """Return the table as CSV text that `read_times` reads back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in times.rows:
        writer.writerow([row.kind, row.task, row.per, f"{row.value:.6g}", f"{row.shared:.6g}", row.source])
    return out.getvalue()


def _counts(work: Work) -> dict[str, float]:
    width_m = work.width_mm / 1000
    return {
        "visit": 1.0,
        "metre of width": width_m,
        "bracket": float(work.brackets),
        "hood": float(work.hood),
        "metre of hood": width_m * work.hood,
        "motor": float(work.motor),
        "material lift": float(work.material_lift),
        "metre above 2.5 m": max(work.height_mm - HIGH_FROM_MM, 0.0) / 1000,
        f"hole in {work.wall}": float(work.holes),
    }


def _whole(minutes: float) -> int:
    return math.ceil(minutes - 1e-6)


def task_time_of(where: str, row: dict[str, str]) -> TaskTime:
    """Return the row whose cells are `row`, by column; raises `BadInput` for `where` with the column that is wrong."""
    if None in row or None in row.values():
        raise BadInput(where, "has more or fewer cells than the first line (put text with commas between quotes)")
    cells = {name: cell.strip() for name, cell in row.items()}
    if cells["kind"] not in get_args(Kind):
        raise BadInput(f"{where}, kind", f'must be one of {", ".join(get_args(Kind))}, is "{cells["kind"]}"')
    if not cells["task"]:
        raise BadInput(f"{where}, task", "must not be empty")
    uncertain = cells["task"] == UNCERTAINTY
    known = (P80,) if uncertain else PER
    if cells["per"] not in known:
        raise BadInput(f"{where}, per", f'must be one of {", ".join(known)}, is "{cells["per"]}"')
    low, high = (1.0, 5.0) if uncertain else (0.0, 1000.0)
    values = {"value": _number(f"{where}, value", cells["value"], low, high)}
    values["shared"] = _number(f"{where}, shared", cells["shared"], 0.0, 1.0)
    if not cells["source"]:
        raise BadInput(f"{where}, source", 'must not be empty; write "assumption" where nothing else is known')
    return msgspec.convert({**cells, **values}, TaskTime)


def _number(where: str, text: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise BadInput(where, f'must be a number from {low:g} to {high:g}, is "{text}"')
    return value
