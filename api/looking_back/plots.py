"""The plots of the owner's page as SVG: in the page's own ink, told apart by hatching as well as by tone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from api.fields.items import item_name
from api.fields.shown import dollars, duration, short_date
from api.languages import gettext, to_say
from api.looking_back.happened import Happened
from api.looking_back.weeks import WeekBack

INK, SOFT, LINE, SHEET, DEEP, WARN = "#1c2326", "#5a666b", "#d5dbdc", "#fff", "#14524a", "#8a4b00"
# (kind, words, fill): neighbours differ in print without colours; "#" names a pattern of `_PATTERNS`.
KINDS = (
    ("crews", to_say("crews"), DEEP),
    ("travel", to_say("road"), "#dots"),
    ("overtime", to_say("overtime"), SOFT),
    ("weekly", to_say("past the week's hours"), SHEET),
    ("helpers", to_say("helpers"), "#bars"),
    ("risk", to_say("weather risk"), "#slant"),
    ("late", to_say("lateness"), SHEET),
    ("changes", to_say("changes"), "#cross"),
    ("skipped", to_say("left waiting"), LINE),
)
USES = (
    ("work_min", to_say("work"), DEEP),
    ("drive_min", to_say("driving"), "#slant"),
    ("other_min", to_say("waiting, rest"), LINE),
)
_TILE = 'width="6" height="6" patternUnits="userSpaceOnUse"><rect width="6" height="6" fill="#fff"/>'
_PATTERNS = "".join(
    f'<pattern id="{name}" {_TILE}{mark}</pattern>'
    for name, mark in (
        ("slant", f'<path d="M0 6 6 0M-1 1 1-1M5 7 7 5" stroke="{DEEP}" stroke-width="1.2"/>'),
        ("cross", f'<path d="M0 6 6 0M0 0 6 6" stroke="{WARN}"/>'),
        ("bars", f'<path d="M2 0V6" stroke="{INK}"/>'),
        ("dots", f'<circle cx="2" cy="2" r="1" fill="{INK}"/>'),
    )
)
_LEFT, _WIDTH, _RIGHT, _ROW, _BAR = 140, 300, 150, 30, 18
_FONT = "font-family=\"'Barlow Semi Condensed','Segoe UI',system-ui,sans-serif\" font-size=\"14\""


@dataclass(frozen=True)
class PlotBar:
    """One bar: its name, its parts as (length, fill), the length of the outline behind it (0: none), and its words."""

    name: str
    parts: tuple[tuple[float, str], ...]
    outline: float
    words: str


def cost_plot(weeks: Sequence[WeekBack]) -> bytes:
    """Return each week's cost by kind as one bar, the newest week on top."""
    rows = []
    for week in weeks:
        parts = tuple((getattr(week.back.cost, kind), fill) for kind, _, fill in KINDS)
        rows.append(PlotBar(short_date(week.start_date), parts, 0, dollars(week.back.cost.total)))
    used = [(gettext(words), fill) for kind, words, fill in KINDS if any(getattr(w.back.cost, kind) for w in weeks)]
    return _drawing("cost", rows, used)


def crew_plot(weeks: Sequence[WeekBack], names_by_id: Mapping[str, str]) -> bytes:
    """Return each crew's hours out by use in one week, with the hours of its shifts as an outline; crews by name."""
    rows = [
        PlotBar(names_by_id.get(crew.crew, crew.crew), tuple((getattr(crew, kind), fill) for kind, _, fill in USES),
            crew.shift_min, _of(duration(crew.out_min), duration(crew.shift_min)))
        for crew in weeks[0].back.crews
    ]  # fmt: skip
    return _drawing("crews", rows, [(gettext(words), fill) for _, words, fill in USES], gettext("shifts"))


def pool_plot(weeks: Sequence[WeekBack]) -> bytes:
    """Return how many of each yard's shared ladders and tools go out, of how many, over the days of one week."""
    rows = [
        PlotBar(f"{item_name(pool.item)}, {pool.yard}", ((sum(pool.used), DEEP),), sum(pool.there),
            _of(str(sum(pool.used)), str(sum(pool.there))))
        for pool in weeks[0].back.pools
    ]  # fmt: skip
    return _drawing("ladders", rows, [(gettext("days out"), DEEP)], gettext("days there"))


def happened_plot(found: Happened, names_by_id: Mapping[str, str]) -> bytes:
    """Return each crew's hours out as they happened, with those planned for the same days as an outline."""
    rows = [
        PlotBar(names_by_id.get(crew, crew), ((beside.happened, DEEP),), beside.planned,
            _for(duration(beside.happened), duration(beside.planned)) if beside.of else gettext("nothing noted"))
        for crew, beside in found.crews
    ]  # fmt: skip
    key = [(gettext("hours out as they happened"), DEEP)]
    return _drawing("happened", rows, key, gettext("planned for the same days"))


def _of(used: str, there: str) -> str:
    return gettext("{used} of {there}").format(used=used, there=there)


def _for(happened: str, planned: str) -> str:
    return gettext("{happened} for {planned}").format(happened=happened, planned=planned)


def _drawing(name: str, rows: Sequence[PlotBar], key: Iterable[tuple[str, str]], outline: str = "") -> bytes:
    """Return bars to one scale below each other, with their key above; `name` begins what the drawing calls its own."""
    most = max([*(sum(part for part, _ in row.parts) for row in rows), *(row.outline for row in rows), 1])
    scale = _WIDTH / most
    words, below = _key(name, [*key, *([(outline, "")] if outline else [])])
    height = below + 4 + _ROW * len(rows)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_LEFT + _WIDTH + _RIGHT} {height}" {_FONT}>',
        "<defs>" + _PATTERNS.replace('id="', f'id="{name}-') + "</defs>",
        words,
    ]
    for n, row in enumerate(rows):
        top = below + _ROW * n
        out.append(_text(_LEFT - 8, top + 14, row.name, "end"))
        x = float(_LEFT)
        for length, fill in row.parts:
            if length > 0:
                out.append(_box(name, x, top, length * scale, _BAR, fill))
                x += length * scale
        if row.outline:
            out.append(
                f'<rect x="{_LEFT}" y="{top - 3}" width="{row.outline * scale:.1f}" height="{_BAR + 6}" fill="none"'
                f' stroke="{INK}" stroke-dasharray="4 3"/>'
            )
        out.append(_text(max(x, _LEFT + row.outline * scale) + 8, top + 14, row.words))
    return "".join([*out, "</svg>"]).encode()


def _key(name: str, entries: Sequence[tuple[str, str]]) -> tuple[str, int]:
    """Return what each fill means, in as many lines as it takes, and how far down they reach."""
    x, y, out = 4.0, 4, []
    for words, fill in entries:
        wide = 40 + 6.6 * len(words)
        if x + wide > _LEFT + _WIDTH + _RIGHT:
            x, y = 4.0, y + 20
        dashed = ' stroke-dasharray="4 3"' if not fill else ""
        out.append(_box(name, x, y, 18, 12, fill or SHEET, dashed) + _text(x + 24, y + 11, words))
        x += wide
    return "".join(out), y + 28


def _box(name: str, x: float, y: float, width: float, height: float, fill: str, more: str = "") -> str:
    fill = f"url(#{name}-{fill[1:]})" if f'id="{fill[1:]}"' in _PATTERNS else fill
    return (
        f'<rect x="{x:.1f}" y="{y:g}" width="{width:.1f}" height="{height:g}" fill="{fill}" stroke="{INK}"'
        f' stroke-width="0.8"{more}/>'
    )


def _text(x: float, y: float, words: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:g}" fill="{INK}" text-anchor="{anchor}">{escape(words)}</text>'
