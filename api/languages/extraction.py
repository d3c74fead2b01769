"""Which texts the catalogues hold: found in the sources, so that none is forgotten."""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file

from api.languages.catalogues import Domain
from api.languages.core import WORDS

# What crews and customers read; the other templates are the office's, in English alone.
READ_BY_CREWS = (
    "base.html", "day/day.html", "day/parts.html", "week/falls.html", "print/base.html", "print/daysheet.html",
    "print/parts.html", "print/hand_over.html", "print/packet.html",
)  # fmt: skip
_SENTENCES = (
    "api/weeksheet/weather.py",
    "api/weeksheet/drives.py",
    "api/falls/falls.py",
    "api/falls/sharing.py",
    "api/falls/today.py",
    "api/ledger/gates.py",
)
CORE = (
    "layout/compute.py", "layout/placement/backing.py", "layout/site/clearance.py", "layout/site/ladders.py",
    "layout/site/lifting.py", "layout/site/shade.py", "layout/site/tools.py", "layout/statics/anchors.py",
    "layout/statics/fasteners.py", "layout/statics/lag.py", "layout/statics/loads.py", "layout/statics/wood.py",
    "layout/drawing/bracket_view.py", "layout/drawing/describe.py", "layout/drawing/facts.py",
    "layout/drawing/schedule.py", "layout/drawing/side_view.py", "layout/drawing/title.py", "weather/thunder.py",
)  # fmt: skip
# The rows that a business begins with; those that it adds stay in the words in which they were typed.
_WORK_KINDS = "api/migrations/versions/0026_kinds.py"
_KEYWORDS = {"_": None, "gettext": None, "ngettext": (1, 2), "to_say": None}
_NAMED = re.compile(r"\{(\w+)\}")


def messages(root: Path) -> Catalog:
    """Return what templates that crews read, and modules, say."""
    templates = [root / "api/templates" / name for name in READ_BY_CREWS]
    modules = [p for p in sorted((root / "api").rglob("*.py")) if "from api.languages import" in p.read_text()]
    found = _found(root, "api.languages.templates:extract", templates)
    return _catalogue(
        [*found, *_found(root, "python", modules), *((_WORK_KINDS, text) for text in work_kind_texts(root))]
    )


def work_kind_texts(root: Path) -> list[str]:
    """Return the names, told words and steps of the kinds of work that every business begins with."""
    spec = importlib.util.spec_from_file_location("work_kinds", root / _WORK_KINDS)
    assert spec is not None
    assert spec.loader is not None
    rows = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(rows)
    return [text for kind in rows.KINDS for text in (kind["name"], kind["told"], *kind["steps"])]


def phone(root: Path) -> Catalog:
    """Return what the scripts of the day sheet say."""
    scripts = [p for p in sorted((root / "api/web/src").rglob("*.ts")) if not p.name.endswith(".test.ts")]
    said = [p for p in scripts if "/spoken.ts" in p.read_text()]
    keywords = {"spoken": None, "spokenFor": (1, 2)}
    return _catalogue(_found(root, "javascript", said, keywords, {"parse_template_string": "false"}))


def core(root: Path) -> Catalog:
    """Return the sentences of the planning core that crews read."""
    found = _found(
        root,
        "api.languages.core:extract",
        [*(root / "scheduler" / name for name in CORE), *map(root.joinpath, _SENTENCES)],
    )
    return _catalogue([*found, *(("api/languages/core.py", word) for word in WORDS)])


def office(root: Path) -> Catalog:
    """Return what the office's templates say."""
    whole = root / "api/templates"
    mine = [p for p in sorted(whole.rglob("*.html")) if p.relative_to(whole).as_posix() not in READ_BY_CREWS]
    return _catalogue(_found(root, "api.languages.templates:extract", mine))


DOMAINS: dict[Domain, Callable[[Path], Catalog]] = {"messages": messages, "phone": phone, "core": core}


def faults(catalogue: Catalog) -> Iterator[str]:
    """Yield what is wrong with a catalogue: texts not translated or not settled, and values lost or invented."""
    for message in catalogue:
        if not message.id:
            continue
        ids, strings = _forms(message.id), _forms(message.string)
        if message.fuzzy:
            yield f'not settled: "{ids[0]}"'
        if not all(strings):
            yield f'not translated: "{ids[0]}"'
            continue
        for string in strings:
            wanted, told = (set(_NAMED.findall(text)) for text in (ids[-1], string))
            needed = {name for name in wanted if not name.startswith("either")}
            if not told <= wanted or (len(strings) == 1 and not needed <= told):
                yield f'other values than its text: "{ids[0]}"'


def _forms(texts: str | Iterable[str] | None) -> list[str]:
    return [texts] if isinstance(texts, str) else list(texts or [""])


def _found(
    root: Path, method: str, files: Iterable[Path], keywords: Mapping[str, Any] | None = None,
    options: dict[str, str] | None = None,
) -> Iterator[tuple[str, Any]]:  # fmt: skip
    for path in files:
        for found in extract_from_file(method, path, keywords or _KEYWORDS, (), options):
            yield path.relative_to(root).as_posix(), found[1]


def _catalogue(found: Iterable[tuple[str, Any]]) -> Catalog:
    made = Catalog(fuzzy=False, charset="utf-8")
    for path, text in found:
        made.add(text, locations=[(path, None)])  # type: ignore[list-item]  # written without lines
    return made
