"""All that is kept on one customer as a ZIP file: a table for each kind of row, the pictures, and what is what."""

from __future__ import annotations

import datetime
import zipfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import sqlalchemy as sa
from sqlmodel import SQLModel

from api import tables
from api.customers.erasing import FILES
from api.customers.gathered import Found, rows_of
from api.database import transaction
from api.exchange.exporting import SECRETS, Table, plain, to_csv
from api.http.problems import Problem
from api.ledger.history import note
from api.ledger.kept_files import MEDIA_TYPES, path_of
from api.papers.sheets import sheets_of

_ENDS = {media: kind.lower() for kind, media in MEDIA_TYPES.items()} | {"application/pdf": "pdf"}
_ABOUT = """All that is kept on {name} ({id}), as it stood on {moment}.

rows/     a table for each kind of row, as it is stored (CSV, UTF-8): {rows}
photos/   the pictures that were taken of their walls, crates and work: {photos}
papers/   permits, letters and other papers of what their visits waited for: {papers}
drawings/ the drawings of their walls: {drawings}

rows/history.csv, where there are lines, is who changed what of it, and when. Plans of past weeks name their visits by
number, and where the house stands; they hold nothing else of them and are not here. Backups hold what is here until
they are swept.
"""


def pack(database: sa.Engine, data: Path, customer_id: str, out: IO[bytes], *, by: str, now: datetime.datetime) -> None:
    """Write what is kept on a customer into `out`, all of one moment, and note in the history that it was given out.

    Answers 404 where there is no such customer.
    """
    with transaction(database) as session:
        customer = session.get(tables.Customer, customer_id)
        if customer is None:
            raise Problem(404, f'No customer has the id "{customer_id}".')
        name, found = customer.name, rows_of(session, customer_id)
        note(session, now, by, "exported", "customer", customer_id, {})
    drawings = dict(_drawings(found))
    files = dict(_files(found, data))
    missing = [named for named, path in files.items() if not path.is_file()]
    counts = Counter(named.partition("/")[0] for named in files if named not in missing)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:

        def put(name: str, content: bytes) -> None:
            packed.writestr(zipfile.ZipInfo(name, now.timetuple()[:6]), content, zipfile.ZIP_DEFLATED)

        told = _ABOUT.format(
            name=name, id=customer_id, moment=plain(now), drawings=len(drawings),
            photos=counts["photos"], papers=counts["papers"],
            rows=", ".join(f"{len(rows)} of {name}" for name, rows in sorted(found.items())),
        )  # fmt: skip
        if missing:
            told += f"\nFiles that are not in the data folder any more: {', '.join(missing)}.\n"
        put("README.txt", told.encode())
        for table, rows in sorted(found.items()):
            put(f"rows/{table}.csv", to_csv(_table(table, rows)))
        for named, drawing in sorted(drawings.items()):
            put(f"drawings/{named}.svg", drawing.encode())
        for named, path in files.items():
            if named not in missing:
                put(named, path.read_bytes())


def _files(found: Found, data: Path) -> Iterator[tuple[str, Path]]:
    """Yield the files of what was found: what they are called in the archive, and where they lie."""
    for table, (folder, _) in FILES.items():
        for row in found.get(table, []):
            yield f"{folder}/{row['id']}.{_ENDS.get(row['media_type'], 'jpeg')}", path_of(data, folder, row["sha256"])


def _table(name: str, rows: list[dict[str, Any]]) -> Table:
    columns = SQLModel.metadata.tables[name].columns.keys()
    head = tuple(column for column in columns if (name, column) not in SECRETS)
    return Table(name, head, tuple(tuple(plain(row[column]) for column in head) for row in rows))


def _drawings(found: Found) -> Iterator[tuple[str, str]]:
    for row in found.get("prepared", []):
        if row["what"] == "drawing":
            yield from ((f"{row['visit_id']}-{n}", sheet) for n, sheet in enumerate(sheets_of(row["document"]), 1))
