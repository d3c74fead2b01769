"""Tables as people send them, made for tests."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import openpyxl

from api.exchange.importing import IMPORTABLE
from api.uploads.reading import Upload, read_upload

CUSTOMERS = "customer,name,phone,email,note\n"


def csv_of(name: str, text: str | bytes) -> list[Upload]:
    return read_upload(text if isinstance(text, bytes) else text.encode(), f"{name}.csv", IMPORTABLE)


def xlsx_of(rows: Sequence[Sequence[Any]], title: str = "customers") -> bytes:
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
