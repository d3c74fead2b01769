"""The backtest's tables and plot."""

from __future__ import annotations

import csv
from pathlib import Path

import msgspec
from matplotlib.dates import DateFormatter, MonthLocator
from matplotlib.figure import Figure

from api.forecast_backtest.run import BLIND, OPEN, Case, Outcome
from scheduler.weather.fit import brier, calibration

EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
NAMES = {
    BLIND: "without a forecast",
    "blend": "climate and persistence (no look ahead)",
    "service": "a forecast service, played",
    OPEN: "the same, hours over a limit open at the price of their chance of loss",
    "came": "the weather that came (no forecast is as good)",
}
_INK, _RUST, _GREY, _BLUE = "#33302c", "#a4502f", "#a59e92", "#4f6b7a"
_COLOURS = {BLIND: _INK, "blend": _GREY, "service": _RUST, OPEN: "#c98a5b", "came": _BLUE}


def totals(outcome: Outcome) -> list[dict[str, str | int | float]]:
    """Return one row a way of planning: visits, losses and cents summed over the weeks, beside the blind plans."""
    rows: list[dict[str, str | int | float]] = []
    ways = list(outcome.weeks[0].scores)
    for way in ways:
        scores = [week.scores[way] for week in outcome.weeks]
        blind = [week.scores[BLIND] for week in outcome.weeks]
        lost, lost_blind = sum(s.lost for s in scores), sum(s.lost for s in blind)
        cents, cents_blind = sum(s.planned_cents for s in scores), sum(s.planned_cents for s in blind)
        road, road_blind = (sum(s.road_cents for s in group) for group in (scores, blind))
        spent, spent_blind = (c + sum(s.lost_cents for s in g) for c, g in ((cents, scores), (cents_blind, blind)))
        rows.append(
            {
                "way": way,
                "visits_planned": sum(s.planned for s in scores),
                "visits_lost": lost,
                "fate_unknown": sum(s.unknown for s in scores),
                "jobs_waiting": sum(s.waiting for s in scores),
                "lost_of_blind": round(lost / lost_blind, 3) if lost_blind else 0.0,
                "planned_cents": cents,
                "planned_of_blind": round(cents / cents_blind, 3),
                "road_of_blind": round(road / road_blind, 3),
                "waiting_cents": sum(s.waiting_cents for s in scores),
                "risk_cents": sum(s.risk_cents for s in scores),
                "lost_cents": sum(s.lost_cents for s in scores),
                "spent_cents": spent,
                "spent_of_blind": round(spent / spent_blind, 3),
            }
        )
    return rows


def write_report(outcome: Outcome, folder: Path, notes: list[str]) -> str:
    """Write tables (CSV), fitted errors (JSON), the plot (SVG, PNG) and the summary, which is returned, to `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = totals(outcome)
    _write(folder / "totals.csv", list(rows[0]), [list(row.values()) for row in rows])
    weeks = [
        [
            week.monday,
            way,
            s.planned,
            s.lost,
            s.unknown,
            s.waiting,
            s.road_cents,
            s.waiting_cents,
            s.risk_cents,
            s.lost_cents,
        ]
        for week in outcome.weeks
        for way, s in week.scores.items()
    ]
    heads = [
        "monday",
        "way",
        "planned",
        "lost",
        "unknown",
        "waiting",
        "road_cents",
        "waiting_cents",
        "risk_cents",
        "lost_cents",
    ]
    _write(folder / "weeks.csv", heads, weeks)
    table = []
    for kind in outcome.errors:
        for which, cases in (("fitted", outcome.fitted_cases[kind]), ("other", outcome.other_cases[kind])):
            table += [[kind, which, *row] for row in calibration(cases, EDGES)]
    _write(folder / "calibration.csv", ["kind", "weeks", "low", "high", "visits", "mean_chance", "share_lost"], table)
    (folder / "errors.json").write_bytes(msgspec.json.format(msgspec.json.encode(outcome.errors), indent=1) + b"\n")
    figure = plot(outcome)
    for suffix in ("svg", "png"):
        figure.savefig(folder / f"backtest.{suffix}", dpi=110)
    summary = "\n".join([*notes, *summary_lines(outcome)]) + "\n"
    (folder / "summary.txt").write_text(summary, encoding="utf-8")
    return summary


def summary_lines(outcome: Outcome) -> list[str]:
    """Return the result in plain lines."""
    lines = []
    for row in totals(outcome):
        keys = ("lost_of_blind", "road_of_blind", "planned_of_blind", "spent_of_blind")
        shares = [f"{float(row[key]):.1%}" for key in keys]
        lines.append(
            f"{row['way']} ({NAMES[str(row['way'])]}): {row['visits_planned']} visits planned, "
            f"{row['visits_lost']} lost, {row['jobs_waiting']} jobs left waiting; against the blind plans: "
            f"losses {shares[0]}, cost on the road {shares[1]}, with what is left waiting {shares[2]}, "
            f"with what was lost too {shares[3]}"
        )
    for kind in outcome.errors:
        for which, cases in (("fitted", outcome.fitted_cases[kind]), ("other", outcome.other_cases[kind])):
            base = sum(lost for _, lost in cases) / len(cases)
            skill = 1 - brier(cases) / (base * (1 - base)) if 0 < base < 1 else 0.0
            mean = sum(chance for chance, _ in cases) / len(cases)
            lines.append(
                f"chances of {kind} on {which} weeks: {len(cases)} visits, mean chance {mean:.3f}, "
                f"share lost {base:.3f}, "
                f"Brier score {brier(cases):.4f} (skill {skill:.0%}), dependence {outcome.errors[kind].dependence:g}"
            )
    return lines


def plot(outcome: Outcome) -> Figure:
    """Return the figure: losses and cost by way of planning, losses over the year, reliability of the chances."""
    figure = Figure(figsize=(11, 7.5), layout="constrained", facecolor="#fbf8f2")
    (bars, cost), (year, reliability) = figure.subplots(2, 2)
    rows = totals(outcome)
    ways = [str(row["way"]) for row in rows]
    colours = [_COLOURS[way] for way in ways]
    for axes, title in ((bars, "Visits lost to the weather, of those planned"), (cost, "Cost")):
        axes.set_title(title, loc="left", fontsize=11)
    bars.barh(ways, [float(row["visits_lost"]) for row in rows], color=colours)
    for n, row in enumerate(rows):
        bars.text(
            float(row["visits_lost"]), n, f" {row['visits_lost']} of {row['visits_planned']}", va="center", fontsize=9
        )
    bars.invert_yaxis()
    bars.set_xlim(0, 1.25 * max(1.0, *(float(row["visits_lost"]) for row in rows)))
    road = [(float(row["planned_cents"]) - float(row["waiting_cents"])) / 100_000 for row in rows]
    waiting = [float(row["waiting_cents"]) / 100_000 for row in rows]
    lost = [float(row["lost_cents"]) / 100_000 for row in rows]
    cost.barh(ways, road, color="#d9d2c5", label="on the road")
    cost.barh(ways, waiting, left=road, color=_GREY, label="left waiting")
    cost.barh(
        ways,
        lost,
        left=[a + b for a, b in zip(road, waiting, strict=True)],
        color=_RUST,
        label="lost visits",
        hatch="//",
    )
    cost.invert_yaxis()
    cost.set_xlabel("thousand dollars over all weeks")
    cost.legend(fontsize=8, frameon=False, loc="lower left", ncols=3, bbox_to_anchor=(0.3, 1.0))
    for way in ways:
        running, series = 0, []
        for week in outcome.weeks:
            running += week.scores[way].lost
            series.append(running)
        year.plot([week.monday for week in outcome.weeks], series, color=_COLOURS[way], label=NAMES[way])
    year.set_title("Visits lost, summed over the year", loc="left", fontsize=11)
    year.xaxis.set_major_locator(MonthLocator())  # type: ignore[no-untyped-call]
    year.xaxis.set_major_formatter(DateFormatter("%b"))  # type: ignore[no-untyped-call]
    year.legend(fontsize=8, frameon=False)
    reliability.plot([0, 1], [0, 1], color=_GREY, linewidth=0.8)
    for kind in outcome.errors:
        if kind == "came":
            continue
        for cases, style, label in (
            (outcome.fitted_cases[kind], ":", "fitted"),
            (outcome.other_cases[kind], "-", "other"),
        ):
            points = _points(cases)
            reliability.plot(
                *points, style, marker="o", markersize=4, color=_COLOURS[kind], label=f"{kind}, {label} weeks"
            )
    reliability.set_title("Visits at random times: chance given, and share lost", loc="left", fontsize=11)
    reliability.set_xlabel("chance of loss")
    reliability.set_ylabel("share lost")
    reliability.legend(fontsize=8, frameon=False)
    for axes in (bars, cost, year, reliability):
        axes.spines[["top", "right"]].set_visible(False)
        axes.set_facecolor("#fbf8f2")
    return figure


def _points(cases: list[Case]) -> tuple[list[float], list[float]]:
    rows = [row for row in calibration(cases, EDGES) if row.cases >= 15]
    return [row.mean_chance for row in rows], [row.share for row in rows]


def _write(file: Path, heads: list[str], rows: list[list[object]]) -> None:
    with file.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(heads)
        writer.writerows(rows)
