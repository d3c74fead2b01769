"""The plots of the owner's page as SVG: in the page's own ink, told apart by hatching as well as by tone."""

from __future__ import annotations

import io
import threading
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from api.fields.shown import short_date
from api.looking_back.weeks import WeekBack

if TYPE_CHECKING:  # a service must not wait for the library at its start
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

GRAPHITE, PENCIL, RULE, SHEET, RUST = "#2b2d2f", "#62635f", "#cfc6b4", "#fffdf7", "#9c3f22"
# (kind, words, fill, hatch): neighbours differ in print without colours.
KINDS = (
    ("crews", "crews", SHEET, ""),
    ("travel", "road", "#d9d2c5", ""),
    ("overtime", "overtime", "#8f8c84", ""),
    ("helpers", "extra people", SHEET, "...."),
    ("risk", "weather risk", "#d9d2c5", "////"),
    ("late", "lateness", SHEET, "xxxx"),
    ("changes", "changes", "#c98f7c", "----"),
    ("skipped", "left waiting", RUST, "\\\\\\\\"),
)
USES = (
    ("work_min", "work", "#8f8c84", ""),
    ("drive_min", "driving", SHEET, "////"),
    ("other_min", "waiting, rest", "#d9d2c5", ""),
)
_LINE = 0.8
# The library keeps its fonts in common, and letters must not be laid out by two threads at once.
_lock = threading.Lock()
_STYLE: Any = {
    "font.family": "DejaVu Serif", "font.size": 9, "svg.hashsalt": "eaveboard", "hatch.linewidth": 0.6,
    "axes.edgecolor": GRAPHITE, "axes.linewidth": _LINE, "text.color": GRAPHITE, "xtick.color": GRAPHITE,
    "ytick.color": GRAPHITE, "axes.labelcolor": GRAPHITE,
}  # fmt: skip


def cost_plot(weeks: Sequence[WeekBack]) -> bytes:
    """Return each week's cost by kind as one bar, the newest week on top."""
    with _lock:
        figure, axes = _sheet(1.5 + 0.42 * len(weeks))
        names = [short_date(w.start_date) for w in weeks]
        left = [0.0] * len(weeks)
        for kind, words, fill, hatch in KINDS:
            sums = [getattr(w.back.cost, kind) / 100_000 for w in weeks]
            if any(sums):
                axes.barh(
                    names, sums, 0.62, left, color=fill, hatch=hatch, edgecolor=GRAPHITE, linewidth=_LINE, label=words
                )
            left = [a + b for a, b in zip(left, sums, strict=True)]
        for n, total in enumerate(left):
            axes.text(total, n, f" ${total:,.1f}k", va="center")
        axes.set_xlim(0, 1.12 * max([*left, 0.1]))
        axes.set_xlabel("thousand dollars")
        return _finish(figure, axes)


def crew_plot(weeks: Sequence[WeekBack], names_by_id: Mapping[str, str]) -> bytes:
    """Return each crew's hours out by use in one week, with the hours of its shifts as an outline; crews by name."""
    with _lock:
        crews = weeks[0].back.crews
        figure, axes = _sheet(1.5 + 0.36 * len(crews))
        names = [names_by_id.get(crew.crew, crew.crew) for crew in crews]
        shifts = [crew.shift_min / 60 for crew in crews]
        left = [0.0] * len(crews)
        for kind, words, fill, hatch in USES:
            hours = [getattr(crew, kind) / 60 for crew in crews]
            axes.barh(
                names, hours, 0.5, left, color=fill, hatch=hatch, edgecolor=GRAPHITE, linewidth=_LINE, label=words
            )
            left = [a + b for a, b in zip(left, hours, strict=True)]
        axes.barh(
            names, shifts, 0.72, fill=False, edgecolor=GRAPHITE, linewidth=1.1, linestyle=(0, (3, 2)), label="shifts"
        )
        axes.set_xlim(0, 1.05 * max([*left, *shifts, 1]))
        axes.set_xlabel("hours in the week")
        return _finish(figure, axes)


def pool_plot(weeks: Sequence[WeekBack]) -> bytes:
    """Return how many of each yard's shared ladders and tools go out, of how many, over the days of one week."""
    with _lock:
        pools = weeks[0].back.pools
        figure, axes = _sheet(1.5 + 0.36 * len(pools))
        names = [f"{pool.item}, {pool.yard}" for pool in pools]
        there, used = [sum(pool.there) for pool in pools], [sum(pool.used) for pool in pools]
        axes.barh(names, used, 0.5, color="#8f8c84", edgecolor=GRAPHITE, linewidth=_LINE, label="days out")
        axes.barh(
            names, there, 0.72, fill=False, edgecolor=GRAPHITE, linewidth=1.1, linestyle=(0, (3, 2)), label="days there"
        )
        for n in range(len(pools)):
            axes.text(there[n], n, f" {used[n]} of {there[n]}", va="center")
        axes.set_xlim(0, 1.2 * max([*there, 1]))
        axes.set_xlabel("days, each counted for itself")
        return _finish(figure, axes)


def _sheet(height_in: float) -> tuple[Figure, Axes]:
    import matplotlib
    from matplotlib.figure import Figure

    matplotlib.rcParams.update(_STYLE)
    figure = Figure(figsize=(8.2, height_in), layout="constrained", facecolor=SHEET)
    axes = figure.subplots()
    axes.set_facecolor(SHEET)
    axes.spines[["top", "right"]].set_visible(False)
    axes.xaxis.grid(True, color=RULE, linewidth=0.6)
    axes.set_axisbelow(True)
    return figure, axes


def _finish(figure: Figure, axes: Axes) -> bytes:
    axes.invert_yaxis()
    axes.tick_params(length=3)
    figure.legend(loc="outside upper left", ncols=8, frameon=False, handlelength=1.6, columnspacing=1.1)
    out = io.BytesIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()
