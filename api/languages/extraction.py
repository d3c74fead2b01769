"""Which texts the catalogues hold: found in the sources, so that none is forgotten."""

from __future__ import annotations

import ast
import importlib.util
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file

from api.languages.catalogues import Domain
from api.languages.core_source import core_sentence
from api.languages.core_words import ITEMS, REFUSED, ROWS, USUAL, WORDS

_SENTENCES = (
    "api/calendars/ended.py",
    "api/calendars/taken.py",
    "api/cluster/notes.py",
    "api/weeksheet/weather.py",
    "api/weeksheet/drives.py",
    "api/falls/falls.py",
    "api/falls/sharing.py",
    "api/falls/since.py",
    "api/falls/today.py",
    "api/ledger/facts/gates.py",
    "api/papers/kits.py",
    "api/papers/preparation.py",
    "api/rebooking/leaving.py",
    "api/roster/shown.py",
    "api/week/following.py",
    "api/week/horizon/readiness.py",
    "api/week/post.py",
    "api/week/run/weighed.py",
)
CORE = (
    "audit.py", "judged.py", "second_crews.py",
    "engine/again/by_hand.py", "engine/reasons/promises.py", "engine/reasons/sentences.py",
    "engine/reasons/skipped.py", "engine/waiting/plain.py", "engine/waiting/promised.py", "engine/waiting/second.py",
    "engine/waiting/smallest.py",
    "engine/waiting/told.py",
    "layout/compute.py", "layout/placement/backing.py", "layout/site/arms.py", "layout/site/clearance.py",
    "layout/site/ladders.py", "layout/site/services.py",
    "layout/site/lifting.py", "layout/site/shade.py", "layout/site/tools.py", "layout/statics/anchors.py",
    "layout/statics/fasteners.py", "layout/statics/lag.py", "layout/statics/loads.py", "layout/statics/wood.py",
    "layout/drawing/bracket_view.py", "layout/drawing/cautions.py", "layout/drawing/describe.py",
    "layout/drawing/facts.py", "layout/drawing/findings.py", "layout/drawing/page.py", "layout/drawing/schedule.py",
    "layout/drawing/setting.py", "layout/drawing/shade_plan.py", "layout/drawing/side_view.py",
    "layout/drawing/title.py", "layout/drawing/wall/elevation.py", "layout/drawing/wall/naming.py",
    "layout/drawing/wall/view.py", "roster/seats.py", "roster/told.py", "roster/verdict.py", "weather/thunder.py",
)  # fmt: skip
# Forms that are made of columns and lines: what these are called and mean stands in calls of these.
_FORMS = (
    "api/business/begin.py", "api/business/crews.py", "api/business/learned.py", "api/business/outside.py",
    "api/business/rows.py",
    "api/business/rules.py", "api/jobs/entry.py", "api/office/kind.py", "api/office/kinds.py",
    "api/office/lists/columns.py", "api/office/lists/settings.py", "api/office/work_kinds.py",
)  # fmt: skip
_FIELDS = {
    "Group", "Kind", "Step", "KindColumn", "Line", "Part", "counted", "day", "driving", "listed", "measure", "money",
    "names", "plain",
    "several", "switch", "weight", "working_days", "_job", "_named",
}  # fmt: skip
# Tables of words that forms show: the module, and what the tables are called there.
_TABLES = {
    "api/business/learned.py": ("HOW",), "api/business/outside.py": ("KINDS", "PLACES", "ROADS"),
    "api/business/rows.py": ("MEASURES", "NAMES"),
    "api/business/rules.py": ("_BY_KIND", "_SINGLE", "ESTIMATES", "LANGUAGE", "UNITS"),
    "api/jobs/entry.py": ("_LABELS", "_MEANINGS", "_CHOICES"), "api/routes/jobs/entry.py": ("_TITLES", "_NEW_TITLES"),
    "api/routes/rebooking/text_gateway.py": ("LABELS",),
}  # fmt: skip
_SURVEY = "api/survey/fields.py"
_SURVEY_CALLS = {"FormField", "RowsOf", "SurveySection"}
# What the service is started with, as the manager reads it on the page of settings.
_STARTED = "api/settings.py"
_KEY = re.compile(r"[a-z0-9_.-]*")  # no text: a column, table or code
# The rows that a business begins with; those that it adds stay in the words in which they were typed.
_WORK_KINDS = "api/migrations/versions/0026_kinds.py"
_KEYWORDS = {"_": None, "gettext": None, "ngettext": (1, 2), "to_say": None}
# Which of its words is said.
_REFUSALS = {"BadInput": 1, "Problem": 1, "HTTPException": 1, "NotSent": 0, "_anew": 3, "_moved": 0}
# What only programs are told, and whoever starts the service or looks after its machine.
_NOT_FOR_PEOPLE = (
    "api/access/idempotency.py", "api/access/tokens.py", "api/backup/", "api/business/load.py", "api/business/seed/",
    "api/cli/", "api/cluster/", "api/database/", "api/fields/addresses/provider.py", "api/fields/addresses/reached.py",
    "api/fields/files/yaml_text.py",
    "api/forecast_backtest/", "api/forecasts/", "api/hooks/", "api/http/versions.py", "api/migrations/",
    "api/opened.py", "api/roads/", "api/routes/lists.py", "api/routes/nouns/", "api/routes/office/condition.py",
    "api/routes/programs/", "api/routes/records.py", "api/settings.py",
)  # fmt: skip
# Where the scripts of the day sheet begin.
_PHONE = ("pages/day.ts", "worker/day-worker.ts")
_IMPORTED = re.compile(r'^(?:import|export) [^;]*?"(\.[^"]+\.ts)";', re.MULTILINE)
_NAMED = re.compile(r"\{(\w+)\}")
_SAYS = re.compile(r"[^\W\d_]{2}")  # a text that is more than its values


def messages(root: Path) -> Catalog:
    """Return what templates and modules say."""
    templates = sorted((root / "api/templates").rglob("*.html"))
    modules = [
        p for p in sorted((root / "api").rglob("*.py")) if "from api.languages import" in p.read_text(encoding="utf-8")
    ]
    found = _found(root, "api.languages.templates:extract", templates)
    return _catalogue(
        [
            *found,
            *_found(root, "python", modules),
            *((_WORK_KINDS, text) for text in work_kind_texts(root)),
            *((form, text) for form in _FORMS for text in field_texts((root / form).read_text(encoding="utf-8"))),
            *(
                (path, text)
                for path, names in _TABLES.items()
                for text in table_texts((root / path).read_text(encoding="utf-8"), names)
            ),
            *((_STARTED, text) for text in started_texts((root / _STARTED).read_text(encoding="utf-8"))),
            *((_SURVEY, text) for text in survey_texts((root / _SURVEY).read_text(encoding="utf-8")) if text),
        ]
    )


def work_kind_texts(root: Path) -> list[str]:
    """Return the names, told words and steps of the kinds of work that every business begins with."""
    spec = importlib.util.spec_from_file_location("work_kinds", root / _WORK_KINDS)
    assert spec is not None
    assert spec.loader is not None
    rows = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(rows)
    return [text for kind in rows.KINDS for text in (kind["name"], kind["told"], *kind["steps"])]


def field_texts(source: str) -> Iterator[str]:
    """Yield what a module calls the parts, fields and columns of its forms, what they mean, and what can be chosen."""
    module = ast.parse(source)
    named = {
        target.id: node.value
        for node in module.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    for call in ast.walk(module):
        if isinstance(call, ast.Call) and ast.unparse(call.func) in _FIELDS:
            said = {one.arg: one.value for one in call.keywords}
            given = [*call.args, *(said[name] for name in ("label", "meaning") if name in said)]
            texts = [one.value for one in given if isinstance(one, ast.Constant) and isinstance(one.value, str)]
            yield from (text for text in texts if not _KEY.fullmatch(text))
            choices = said.get("choices")
            yield from _choice_texts(named.get(choices.id) if isinstance(choices, ast.Name) else choices)


def _choice_texts(choices: ast.expr | None) -> Iterator[str]:
    """Yield the words of choices that are written out as (value, words); the values stay as they are."""
    for pair in choices.elts if isinstance(choices, ast.Tuple) else ():
        words = pair.elts[1] if isinstance(pair, ast.Tuple) and len(pair.elts) == 2 else None
        if isinstance(words, ast.Constant) and isinstance(words.value, str):
            yield words.value


def table_texts(source: str, names: Iterable[str]) -> Iterator[str]:
    """Yield what stands in a module's tables of these names: values by key, or words behind what they are told by."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Assign) or ast.unparse(node.targets[0]) not in names:
            continue
        for part in ast.walk(node):
            held = part.values if isinstance(part, ast.Dict) else part.elts[1:] if isinstance(part, ast.Tuple) else []
            held = [each for one in held for each in (one.elts if isinstance(one, ast.Tuple) else [one])]
            said = [one.value for one in held if isinstance(one, ast.Constant) and isinstance(one.value, str)]
            yield from (text for text in said if not _KEY.fullmatch(text))


def started_texts(source: str) -> Iterator[str]:
    """Yield what the variables mean that the service is started with."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.keyword) and node.arg == "description" and isinstance(node.value, ast.Constant):
            yield str(node.value.value)


def survey_texts(source: str) -> Iterator[str]:
    """Yield what the form of a survey calls its parts, fields and choices, and its hints."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func) in _SURVEY_CALLS:
            hints = [one.value for one in node.keywords if one.arg in ("hint", "label")]
            given = [
                *node.args[1:2],
                *(node.args[3:] if ast.unparse(node.func) == "FormField" else node.args[2:]),
                *hints,
            ]
            yield from (one.value for one in given if isinstance(one, ast.Constant) and isinstance(one.value, str))
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Tuple):
            pairs = [one.elts for one in node.value.elts if isinstance(one, ast.Tuple) and len(one.elts) == 2]
            yield from (str(words.value) for _, words in pairs if isinstance(words, ast.Constant))


def refusal_texts(source: str) -> Iterator[str]:
    """Yield what a module says where it refuses or could not send, and the second word of a fault put on a list."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "detail":
            yield from (text for text in core_sentence(node.value) if _SAYS.search(_NAMED.sub("", text)))
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func).rpartition(".")[2]
        if len(node.args) > _REFUSALS.get(called, len(node.args)):
            said = node.args[_REFUSALS[called]]
            yield from (text for text in core_sentence(said) if _SAYS.search(_NAMED.sub("", text)))
        elif called == "append" and node.args and isinstance(node.args[0], ast.Tuple) and len(node.args[0].elts) == 2:
            yield from (
                text
                for text in core_sentence(node.args[0].elts[1])
                if " " in text and _SAYS.search(_NAMED.sub("", text))
            )


def phone(root: Path) -> Catalog:
    """Return what the scripts of the day sheet say."""
    return _scripts(root, [root / "api/web/src" / name for name in _PHONE])


def pages(root: Path) -> Catalog:
    """Return what the scripts of all other pages say."""
    source = root / "api/web/src"
    return _scripts(root, [p for p in sorted((source / "pages").glob("*.ts")) if p != source / _PHONE[0]])


def _scripts(root: Path, entries: Iterable[Path]) -> Catalog:
    """Return what scripts say, and those that they import."""
    left, all_of = list(entries), set[Path]()
    while left:
        script = left.pop().resolve()
        if script not in all_of:
            all_of.add(script)
            left += [script.parent / name for name in _IMPORTED.findall(script.read_text(encoding="utf-8"))]
    keywords = {"spoken": None, "spokenFor": (1, 2)}
    found = _found(root.resolve(), "javascript", sorted(all_of), keywords, {"parse_template_string": "false"})
    return _catalogue(found)


def core(root: Path) -> Catalog:
    """Return the sentences of the planning core that crews read."""
    found = _found(
        root,
        "api.languages.core_source:extract",
        [*(root / "scheduler" / name for name in CORE), *map(root.joinpath, _SENTENCES)],
    )
    return _catalogue([*found, *(("api/languages/core_words.py", word) for word in (*WORDS, *ITEMS, *ROWS, *USUAL))])


def refusals(root: Path) -> Catalog:
    """Return the sentences with which people are refused; those of programs and machines stay English."""
    found: list[tuple[str, str]] = []
    for path in sorted((root / "api").rglob("*.py")):
        name = path.relative_to(root).as_posix()
        if not name.startswith(_NOT_FOR_PEOPLE):
            found += [(name, text) for text in refusal_texts(path.read_text(encoding="utf-8"))]
    found += [("api/languages/core_words.py", text) for text in REFUSED]
    return _catalogue([*found, *(("scheduler/units.py", text) for text in refusal_texts(
        (root / "scheduler/units.py").read_text(encoding="utf-8")))])  # fmt: skip


DOMAINS: dict[Domain, Callable[[Path], Catalog]] = {
    "messages": messages, "phone": phone, "pages": pages, "core": core, "refusals": refusals,
}  # fmt: skip


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
