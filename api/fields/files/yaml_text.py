"""YAML as plain data: dates and times of day left as text, no aliases, no key twice, no more than fits."""

from __future__ import annotations

import re
from collections.abc import Hashable
from typing import Any

import yaml

from scheduler.errors import BadInput

MOST_YAML = 400_000  # characters
DEEPEST_YAML = 30


def plain_yaml(text: str, most: int = MOST_YAML) -> Any:
    """Return what a YAML text holds, as plain data; raises `BadInput` naming the line.

    most: characters; a text with more is refused, as is one that names parts of itself or is nested too deeply: a small
    one could grow without bound.
    """
    try:
        if problem := _overgrown(text, most):
            raise BadInput("", problem)
        return yaml.load(text, Loader=_PlainLoader)
    except yaml.YAMLError as fault:
        mark = getattr(fault, "problem_mark", None)
        where = f"line {mark.line + 1}" if mark else ""
        raise BadInput(where, f"is not readable YAML: {getattr(fault, 'problem', None) or fault}") from None


def _overgrown(text: str, most: int) -> str:
    if len(text) > most:
        return f"has more than {most // 1000} kB"
    depth = 0
    for event in yaml.parse(text, Loader=yaml.CSafeLoader):
        if isinstance(event, yaml.AliasEvent):
            return f"uses an alias (*{event.anchor}) in line {_line(event)}; write the value out"
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > DEEPEST_YAML:
                return f"has more than {DEEPEST_YAML} levels, from line {_line(event)} on"
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
    return ""


def _line(event: yaml.Event) -> int:
    return 1 if event.start_mark is None else event.start_mark.line + 1


class _PlainLoader(yaml.CSafeLoader):
    """Leaves dates and times of day as the text that stands there (YAML 1.1 would read 7:30 as 450)."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        """Refuse a key that stands twice: which of its values is meant cannot be known."""
        seen: set[str] = set()
        for key, _ in node.value:
            if isinstance(key, yaml.ScalarNode):
                if key.value in seen:
                    where = f"line {key.start_mark.line + 1}" if key.start_mark else ""
                    raise BadInput(where, f'the key "{key.value}" stands twice; keep one of them')
                seen.add(key.value)
        return super().construct_mapping(node, deep)


_PlainLoader.yaml_implicit_resolvers = {
    first: [(tag, rule) for tag, rule in rules if not tag.endswith((":timestamp", ":int"))]
    for first, rules in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
_PlainLoader.add_implicit_resolver("tag:yaml.org,2002:int", re.compile(r"[+-]?[0-9]+$"), list("+-0123456789"))
