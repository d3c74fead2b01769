"""What the documents say of the product is what it does, and what it does stands in the documents."""

from __future__ import annotations

import re
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import msgspec
import pytest
from typer.main import get_command

from api.access.accounts import Role
from api.cli import app
from api.cli.saying.help_page import help_page
from api.settings import SETTINGS
from scheduler.audit import RULES
from scheduler.engine.reasons.skipped import CODES
from scheduler.layout.documents import Layout, Survey
from scheduler.plan import Cost, Cost2, Plan
from scheduler.week import Week, Week2

ROOT = Path(__file__).parents[2]
PAGES = ["README.md", "DEVELOPERS.md", "CHANGELOG.md", *sorted(f"docs/{p.name}" for p in (ROOT / "docs").glob("*.md"))]
TEXT = {name: (ROOT / name).read_text() for name in PAGES}
CODE = re.compile(r"```.*?```|`[^`\n]+`", re.DOTALL)
ROOMS = ("api", "scheduler", "tests", "seeds", "ops", "docs", ".ci")


def code_of(page: str) -> list[str]:
    """Return what stands in code type on a page, without its quotes."""
    return [span.strip("`\n") for span in CODE.findall(TEXT[page])]


def section(page: str, title: str) -> str:
    """Return the text below a heading, up to the next one of its rank."""
    _, _, rest = TEXT[page].partition(f"\n## {title}\n")
    assert rest, f'{page} has no heading "{title}"'
    return rest.split("\n## ")[0]


def rows(text: str) -> list[list[str]]:
    """Return the cells of the tables in `text`, the lines under their heads left out."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines if "| --- |" not in line]


# ---- promises and threats


def test_every_promise_is_held_by_tests_that_exist() -> None:
    """A cell names tests alone: `tests/FILE.py::test_NAME`, or a whole file of them."""
    promised = rows(TEXT["docs/promises.md"])
    assert len(promised) > 20
    for promise, cell in (row for row in promised if row != ["promise", "tests"]):
        named = CODE.findall(cell)
        assert named, promise
        assert not CODE.sub("", cell).strip(), promise
        for one in named:
            file, _, test = one.strip("`").partition("::")
            assert file.startswith("tests/"), one
            text = (ROOT / file).read_text()
            assert re.search(rf"^def {test or 'test_[a-z0-9_]+'}\(", text, re.MULTILINE), one


def test_every_threat_is_kept_by_tests_that_exist() -> None:
    threats = rows(TEXT["docs/threats.md"])
    assert len(threats) > 20
    for threat, _, cell in (row for row in threats if row != ["threat", "what keeps it", "test"]):
        named = [one.strip("`") for one in CODE.findall(cell)]
        assert named, threat
        for one in named:
            assert (ROOT / "tests" / one).is_file(), one


def test_every_item_of_the_standard_is_kept_by_tests_that_exist_or_says_why_not() -> None:
    """The last cell names tests alone, or begins with "does not apply: " or "not kept: " and says why."""
    items = [row for row in rows(TEXT["docs/asvs.md"]) if row != ["item", "what it asks", "kept by"]]
    assert len(items) > 100
    numbers = [tuple(map(int, item.split("."))) for item, _, _ in items]
    assert numbers == sorted(set(numbers))
    for item, gist, cell in items:
        assert gist, item
        if re.match(r"(does not apply|not kept): \S", cell):
            continue
        named = [one.strip("`") for one in CODE.findall(cell)]
        assert named, item
        assert not CODE.sub("", cell).strip(), item
        for one in named:
            file, _, test = one.partition("::")
            text = (ROOT / "tests" / file).read_text()
            assert re.search(rf"^def {test or 'test_[a-z0-9_]+'}\(", text, re.MULTILINE), one


# ---- paths, names, links


@pytest.mark.parametrize("page", PAGES)
def test_every_path_that_is_named_is_there(page: str) -> None:
    for span in code_of(page):
        for name in re.findall(rf"(?<![\w/.])(?:{'|'.join(map(re.escape, ROOMS))})/[\w./*-]*[\w*/]", span):
            if "NAME" in name or name.startswith("api/static/built"):
                continue
            assert list(ROOT.glob(name.rstrip("/"))), f"{page}: {name}"


@pytest.mark.parametrize("page", PAGES)
def test_every_link_leads_somewhere(page: str) -> None:
    for name, heading in re.findall(r"\]\(([^)#\s]*)(?:#([^)]*))?\)", TEXT[page]):
        if name.startswith("http"):
            continue
        to = (ROOT / page).parent / name if name else ROOT / page
        assert to.exists(), f"{page}: {name}"
        headings = re.findall(r"^#+ (.+)$", to.read_text(), re.MULTILINE) if heading else []
        slugs = {re.sub(r"[^\w -]", "", h).lower().replace(" ", "-") for h in headings}
        assert not heading or heading in slugs, f"{page}: {name}#{heading}"


def test_where_is_names_what_its_files_define() -> None:
    answers = [row for row in rows(TEXT["docs/where.md"]) if "`" in row[1]]
    assert len(answers) >= 20
    for question, answer in answers:
        for part in answer.split(";"):
            path, *names = re.findall(r"`([^`]+)`", part)
            text = (ROOT / path).read_text()
            for name in names:
                defined = rf"^\s*(?:async )?(?:export )?(?:async )?(?:def|class|function|const)? ?{name}\b *[(:=]"
                assert re.search(defined, text, re.MULTILINE), f"{question}: {path} defines no {name}"


def test_every_room_is_named() -> None:
    told = " ".join(code_of("DEVELOPERS.md"))
    rooms = [p for folder in ("api", "scheduler/engine") for p in (ROOT / folder).iterdir() if p.is_dir()]
    for room in rooms:
        if any(room.rglob("*.py")) or any(room.rglob("*.ts")) or any(room.rglob("*.html")):
            name = room.relative_to(ROOT).as_posix()
            assert f"{name}/" in told, name


# ---- how to add


# What is followed: the heading, then what marks a file that its list has to name, by its text or by its path.
FOLLOWED = {
    "A rule": (r"\brack_mm\b", None),
    "A page": (
        r"/jobs/new\b|\"entry\.html\"|import entry\b|\bnew-job\b|name=\"New job\"",
        r"(^|/)(test_)?entry\.(py|html)$",
    ),
    "A column": (r"\bstoreys\b|\bstories of the house\b", None),  # its name, and its meaning as forms show it
}
SHARED_RULE = (r"\bmax_days\b|\.follows?\b|\bfollow: ", r"\bmax_days\b")  # in the core, in what tests share


def sources() -> Iterator[tuple[str, str]]:
    """Yield path and text of all that people write here, pages of documentation but README.md left out."""
    kinds = {".py", ".ts", ".html", ".csv", ".yaml", ".json", ".css"}
    for room in ("api", "scheduler", "tests", "seeds", "ops"):
        for path in sorted((ROOT / room).rglob("*")):
            name = path.relative_to(ROOT).as_posix()
            made = re.search(r"__pycache__|node_modules|static/built", name) or name == "tests/unit/test_docs.py"
            if path.is_file() and path.suffix in kinds and not made:
                yield name, path.read_text()
    yield "README.md", TEXT["README.md"]


def listed(title: str) -> set[str]:
    """Return the files that the list under a heading of how-to.md names first, patterns spelled out."""
    names = re.findall(r"^- `([^`]+)`", section("docs/how-to.md", title), re.MULTILINE)
    assert len(names) == len(set(names)), f"named twice under {title}"
    return {path.relative_to(ROOT).as_posix() for name in names for path in ROOT.glob(name)}


@pytest.fixture(scope="module")
def written() -> dict[str, str]:
    return dict(sources())


@pytest.mark.parametrize("title", FOLLOWED)
def test_how_to_add_one_names_every_file_of_its_example(title: str, written: dict[str, str]) -> None:
    mark, path = FOLLOWED[title]
    touched = {name for name, text in written.items() if re.search(mark, text) or (path and re.search(path, name))}
    told = listed(title)
    if title == "A rule":
        core = {n for n, t in written.items() if n.startswith("scheduler/") and re.search(SHARED_RULE[0], t)}
        core |= {n for n, t in written.items() if re.match("tests/[^/]+$", n) and re.search(SHARED_RULE[1], t)}
        touched |= core
    missing, too_many = sorted(touched - told), sorted(told - touched)
    assert not missing, f'docs/how-to.md, "{title}", does not name {missing}'
    assert not too_many, f'docs/how-to.md, "{title}", names {too_many}, where the example does not occur'


def test_every_fact_check_is_made_as_its_recipe_says() -> None:
    folder = ROOT / "tests/reference/web_mercator"
    assert listed("A fact check") == {p.relative_to(ROOT).as_posix() for p in folder.iterdir() if p.is_file()}
    for folder in (p for p in (ROOT / "tests/reference").iterdir() if p.is_dir() and p.name != "__pycache__"):
        assert (folder / "source.md").exists(), folder.name


# ---- commands, settings, roles, scripts


def commands() -> dict[str, set[str]]:
    """Return the options of every command by its name, such as "roads table"."""
    found: dict[str, set[str]] = {}

    def walk(name: str, command: Any) -> None:
        found[name] = {"--help", "-h"} | {o for p in command.params for o in (*p.opts, *p.secondary_opts)}
        for inner, below in getattr(command, "commands", {}).items():
            walk(f"{name} {inner}".strip(), below)

    walk("", get_command(app))
    return found


def test_the_page_of_commands_is_what_the_commands_say() -> None:
    told = "write it anew: python -m api.cli.saying.help_page > docs/commands.md"
    assert TEXT["docs/commands.md"] == help_page(), told
    for name, options in commands().items():
        if name and name not in ("roads", "weather"):
            words = section("docs/commands.md", f"eaveboard {name}")
            assert not [o for o in options - {"--help", "-h"} if o.startswith("-") and o not in words], name


@pytest.mark.parametrize("page", PAGES)
def test_every_command_and_option_that_is_named_exists(page: str) -> None:
    known = commands()
    every = set().union(*known.values())
    scripts = "".join(p.read_text() for p in (ROOT / "ops").iterdir() if p.is_file())
    for span in code_of(page):
        for line in span.splitlines():
            said = re.search(r"(?:^|\s|/)eaveboard((?: [a-z][a-z-]*)*)", line)
            options = re.findall(r"(?<![\w-])--?[a-z][a-z-]+\b", line)
            if said is None:
                plain = [o for o in options if o.startswith("--") and o not in every and f"{o}" not in scripts]
                assert not plain or re.search(r"pytest|python -m|npm", line), f"{page}: {line}"
                continue
            words = said[1].split()
            name = next((n for n in (" ".join(words[:2]), " ".join(words[:1])) if n in known), None)
            assert name is not None, f"{page}: {line}"
            assert set(options) <= known[name], f"{page}: {line}"


def test_every_setting_stands_in_the_manual_in_the_same_words() -> None:
    lines = TEXT["docs/running.md"].splitlines()
    for name, (default, meaning) in SETTINGS.items():
        line = f"| `{name}` | {f'`{default}`' if default else ''} | {meaning} |"
        assert line in lines, name
    told = {name for text in TEXT.values() for name in re.findall(r"EAVEBOARD_[A-Z][A-Z_]+", text)}
    assert told <= set(SETTINGS)


def test_every_role_is_described_and_no_other() -> None:
    told = [re.findall(r"`([^`]+)`", row[0]) for row in rows(section("docs/running.md", "Who may do what"))[1:]]
    assert [name for names in told for name in names] == [str(role) for role in Role]


def test_every_script_is_described() -> None:
    told = " ".join(code_of("DEVELOPERS.md"))
    for script in (p for p in (ROOT / "ops").iterdir() if p.is_file()):
        assert f"ops/{script.name}" in told, script.name


# ---- formats


def test_every_rule_is_described_with_its_number() -> None:
    told = {row[1].strip("`"): row[0] for row in rows(section("docs/formats.md", "Rules"))[1:]}
    numbers = {name: re.match(r"Rule (\d+):", rule.__doc__ or "") for name, rule in RULES.items()}
    assert told == {name: number[1] if number else "" for name, number in numbers.items()}
    assert list(told) == list(RULES)


def test_every_kind_of_cost_is_described() -> None:
    told = [row[0].strip("`") for row in rows(section("docs/formats.md", "Cost"))[1:]]
    assert told == [name for name in Cost.__struct_fields__ if name != "total"]


def test_every_reason_is_described() -> None:
    told = [row[0].strip("`") for row in rows(section("docs/formats.md", "Why a job waits"))[1:]]
    assert sorted(told) == sorted(CODES)


def test_every_key_of_survey_and_layout_is_named() -> None:
    told = " ".join(re.findall(r"`([^`]+)`", section("docs/formats.md", "The survey and the layout, in short")))
    for kind in (Survey, Layout):
        assert not [f.encode_name for f in msgspec.structs.fields(kind) if f.encode_name not in told.split()]


def leaves(kind: Any, path: str = "") -> Iterator[tuple[str, Any, bool]]:
    """Yield every key of a document with its type and whether null may stand there; `[]` marks lists, `{}` maps."""
    null = False
    if get_origin(kind) in (Union, types.UnionType):
        arms = [arm for arm in get_args(kind) if arm is not type(None)]
        null, kind = len(arms) < len(get_args(kind)), arms[0]
    bare = get_args(kind)[0] if get_origin(kind) is Annotated else kind
    if isinstance(bare, type) and issubclass(bare, msgspec.Struct):
        if null:
            yield path, "object", True
        for field in msgspec.structs.fields(bare):
            yield from leaves(field.type, f"{path}.{field.encode_name}" if path else field.encode_name)
    elif get_origin(bare) is tuple:
        yield from leaves(get_args(bare)[0], f"{path}[]")
    elif get_origin(bare) is dict:
        yield from leaves(get_args(bare)[1], f"{path}{{}}")
    else:
        yield path, kind, null


def test_every_key_of_the_second_format_is_described() -> None:
    kinds = {row[0]: row[2:] for row in rows(section("docs/formats.md", "What all six have in common"))[1:]}
    told = {row[0].strip("`"): row[1] for row in rows(section("docs/formats.md", "The second format"))[1:]}
    first = {path for path, _, _ in leaves(Week)}
    added = {path: (kind, null) for path, kind, null in leaves(Week2) if path not in first}
    assert sorted(told) == sorted(added)
    for path, (kind, null) in added.items():
        assert told[path].endswith(" or null") == null, path
        said = told[path].removesuffix(" or null")
        metas = get_args(kind)[1:] if get_origin(kind) is Annotated else ()
        limits = [str(m.le) for m in metas if m.le is not None]
        assert said == "object" or kinds[said][1:] == (limits or [""]), path
    second = [name for name in Cost2.__struct_fields__ if name not in Cost.__struct_fields__]
    assert all(f"`{name}` counts too" in section("docs/formats.md", "Cost") for name in second)


@pytest.mark.parametrize(("document", "title"), [(Week, "The week: `week/1`"), (Plan, "The plan: `plan/1`")])
def test_every_key_is_described_with_its_limits(document: type[msgspec.Struct], title: str) -> None:
    kinds = {row[0]: row[2:] for row in rows(section("docs/formats.md", "What all six have in common"))[1:]}
    told = {row[0].strip("`"): row[1] for row in rows(section("docs/formats.md", title))[1:]}
    keys = {path: (kind, null) for path, kind, null in leaves(document)}
    assert list(told) == list(keys)
    for path, (kind, null) in keys.items():
        said = told[path].removesuffix(" or null")
        assert (told[path] == f"{said} or null") == null, path
        if kind == "object":
            assert said == "object", path
        elif get_origin(kind) is Literal:
            assert sorted(re.findall(r'"([^"]+)"', said)) == sorted(get_args(kind)), path
        else:
            metas = get_args(kind)[1:] if get_origin(kind) is Annotated else ()
            limits = [
                ""
                if (found := [getattr(m, name) for m in metas if getattr(m, name) is not None]) == []
                else str(found[0])
                for name in ("ge", "le")
            ]
            assert kinds[said] == limits, f"{path}: {said} is {kinds[said]}, the code has {limits}"
