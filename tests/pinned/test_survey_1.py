"""Layouts of surveys in the first form (survey/1), kept for ever: our own results, each the SHA-256 of its file.

A house may be looked up years after it was drilled: whatever newer surveys ask for, an old one gives the same file.
Only the last digits of a force may differ: processors of different makes solve equations to the last bit or two.
"""

from __future__ import annotations

import hashlib
import random
from pathlib import Path
from typing import Any

import msgspec

from scheduler.documents import encode
from scheduler.layout.compute import lay_out
from tests.surveys import KINDS, plain_survey, random_survey

KEPT = Path(__file__).with_name("survey_1.txt")


def layouts() -> list[str]:
    surveys = [plain_survey()]
    surveys += [random_survey(random.Random(f"kept {kind} {n}"), kind=kind) for kind in KINDS for n in range(12)]
    return [hashlib.sha256(encode(to_nine_digits(lay_out(survey)))).hexdigest() for survey in surveys]


def to_nine_digits(value: Any) -> Any:
    """Return plain data with its fractions to nine significant digits."""
    match msgspec.to_builtins(value):
        case dict() as found:
            return {name: to_nine_digits(one) for name, one in found.items()}
        case list() | tuple() as found:
            return [to_nine_digits(one) for one in found]
        case float() as found:
            return float(f"{found:.9g}")
        case found:
            return found


def test_layouts_of_first_surveys_stay_the_same() -> None:
    assert layouts() == KEPT.read_text().split()
