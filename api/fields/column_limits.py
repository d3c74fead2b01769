"""What kinds of limit a column can have: whole numbers, decimals, texts, choices and days, each with its sentences."""

from __future__ import annotations

import datetime
import math
import re
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from scheduler.errors import BadInput

FIRST_DAY, LAST_DAY = datetime.date(1990, 1, 1), datetime.date(2100, 12, 31)
MOST_DIGITS = 40
_NUMBER = re.compile(r"[+-]?[0-9]+")
# Line ends and tabs, with the blanks around them.
_BREAK = re.compile(r"\s*[\n\r\t\x85\u2028\u2029]\s*")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True)
class ColumnLimit(ABC):
    """What a column takes. `parse` reads the text of a cell or a field, `check` judges a value; both raise `BadInput`.

    `typed`: whether texts are taken where a number or date is meant, as forms send them.
    """

    typed: bool = False

    @abstractmethod
    def parse(self, text: str) -> Any: ...

    @abstractmethod
    def check(self, value: Any) -> Any: ...

    @abstractmethod
    def schema(self) -> dict[str, Any]: ...

    @abstractmethod
    def attributes(self) -> dict[str, str]:
        """Return the attributes of an input on a page that takes no other value; whether one must be given aside."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def judged(value: Any) -> Any:
            try:
                if isinstance(value, str):
                    value = value.strip()
                return self.parse(value) if self.typed and isinstance(value, str) else self.check(value)
            except BadInput as fault:
                raise ValueError(fault.problem) from None

        return core_schema.no_info_plain_validator_function(
            judged, serialization=core_schema.plain_serializer_function_ser_schema(lambda value: value)
        )

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return self.schema()


@dataclass(frozen=True)
class Whole(ColumnLimit):
    """A whole number from `least` to `most`, both included."""

    least: int = 0
    most: int = 1_000_000

    def parse(self, text: str) -> int:
        if not _NUMBER.fullmatch(text):
            raise BadInput("", f'must be a whole number, is "{text}"')
        if len(text) > MOST_DIGITS:  # far more of them Python makes no number of
            value = _said(text)
            raise BadInput("", f"must be from {self.least} to {self.most}, is {value}")
        return self.check(int(text))

    def check(self, value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise BadInput("", f'must be a whole number, is "{_said(value)}"')
        if not self.least <= value <= self.most:
            raise BadInput("", f"must be from {self.least} to {self.most}, is {value}")
        return value

    def schema(self) -> dict[str, Any]:
        return {"type": "integer", "minimum": self.least, "maximum": self.most}

    def attributes(self) -> dict[str, str]:
        return {"type": "number", "min": str(self.least), "max": str(self.most), "step": "1", "inputmode": "numeric"}


@dataclass(frozen=True)
class Decimal(ColumnLimit):
    """A number from `least` to `most`, both included."""

    least: float = 0.0
    most: float = 0.0

    def parse(self, text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            raise BadInput("", f'must be a number, is "{text}"') from None
        return self.check(value)

    def check(self, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise BadInput("", f'must be a number, is "{_said(value)}"')
        if not self.least <= value <= self.most:
            raise BadInput("", f"must be from {self.least:g} to {self.most:g}, is {value:g}")
        return float(value)

    def schema(self) -> dict[str, Any]:
        return {"type": "number", "minimum": self.least, "maximum": self.most}

    def attributes(self) -> dict[str, str]:
        return {"type": "number", "min": f"{self.least:g}", "max": f"{self.most:g}", "step": "any",
                "inputmode": "decimal"}  # fmt: skip


@dataclass(frozen=True)
class Text(ColumnLimit):
    """A text of `least` to `most` letters; `lines`: it may have several, else they are joined by blanks.

    It matches `pattern`, which browsers read as well, and `fits`; `words` say what it must be.
    """

    most: int = 120
    least: int = 0
    lines: bool = False
    fits: Callable[[str], bool] | None = None
    pattern: str = ""
    words: str = ""

    def parse(self, text: str) -> str:
        return self.check(text)

    def check(self, value: Any) -> str:
        if not isinstance(value, str):
            raise BadInput("", f'must be a text, is "{_said(value)}"')
        return self._judged(value if self.lines or self.pattern or self.fits else _BREAK.sub(" ", value))

    def _judged(self, value: str) -> str:
        if any((ord(letter) < 32 and letter not in "\n\r\t") or ord(letter) == 127 for letter in value):
            raise BadInput("", "must not contain control characters")
        if any(0xD800 <= ord(letter) < 0xE000 for letter in value):
            raise BadInput("", "must be text that can be written: it holds half of a character")
        if len(value) < self.least:
            raise BadInput("", "must not be empty" if self.least == 1 else f"must have {self.least} letters or more")
        if len(value) > self.most:
            raise BadInput("", f"must have at most {self.most} letters, has {len(value)}")
        fits = (self.fits is None or self.fits(value)) and (not self.pattern or re.fullmatch(self.pattern, value))
        if value and not fits:
            raise BadInput("", f'{self.words}, is "{value}"')
        return value

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "minLength": self.least, "maxLength": self.most}

    def attributes(self) -> dict[str, str]:
        least = {"minlength": str(self.least)} if self.least > 1 else {}
        return least | {"maxlength": str(self.most)} | ({"pattern": self.pattern} if self.pattern else {})


@dataclass(frozen=True)
class Choice(ColumnLimit):
    """One of some words."""

    of: tuple[str, ...] = ()

    def parse(self, text: str) -> str:
        return self.check(text)

    def check(self, value: Any) -> str:
        if value not in self.of:
            words = ", ".join(sorted(filter(None, self.of))) + (" or empty" if "" in self.of else "")
            raise BadInput("", f'must be one of {words}, is "{_said(value)}"')
        return str(value)

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "enum": sorted(self.of)}

    def attributes(self) -> dict[str, str]:
        return {}  # it is chosen from what it may be


@dataclass(frozen=True)
class Date(ColumnLimit):
    """A day of the years in which the product is used: a slipped digit is told, not planned by."""

    least: datetime.date = FIRST_DAY
    most: datetime.date = LAST_DAY

    def parse(self, text: str) -> datetime.date:
        try:
            day = datetime.date.fromisoformat(text) if _DATE.fullmatch(text) else None
        except ValueError:
            day = None
        if day is None:
            raise BadInput("", f'must be a date such as 2027-04-12, is "{text}"')
        return self.check(day)

    def check(self, value: Any) -> datetime.date:
        if isinstance(value, str):
            return self.parse(value)
        if type(value) is not datetime.date:
            raise BadInput("", f'must be a date such as 2027-04-12, is "{_said(value)}"')
        if not self.least <= value <= self.most:
            raise BadInput("", f"must be from {self.least} to {self.most}, is {value}")
        return value

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "date"}

    def attributes(self) -> dict[str, str]:
        return {"type": "date", "min": self.least.isoformat(), "max": self.most.isoformat()}


def _said(value: Any) -> str:
    """Return a value as JSON writes it, shortened."""
    words = {None: "null", True: "true", False: "false"}
    text = words[value] if value is None or isinstance(value, bool) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}…"
