"""Layouts of surveys in the first form (survey/1), kept for ever: our own results, each the SHA-256 of its file.

A house may be looked up years after it was drilled: whatever newer surveys ask for, an old one gives the same file.
"""

from __future__ import annotations

import hashlib
import random
from pathlib import Path

from scheduler.documents import encode
from scheduler.layout.compute import lay_out
from tests.surveys import KINDS, plain_survey, random_survey

KEPT = Path(__file__).with_name("survey_1.txt")


def layouts() -> list[str]:
    surveys = [plain_survey()]
    surveys += [random_survey(random.Random(f"kept {kind} {n}"), kind=kind) for kind in KINDS for n in range(12)]
    return [hashlib.sha256(encode(lay_out(survey))).hexdigest() for survey in surveys]


def test_layouts_of_first_surveys_are_the_same_byte_for_byte() -> None:
    assert layouts() == KEPT.read_text().split()
