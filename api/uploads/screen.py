"""A look into an XLSX file before it is read: how many cells it would fill, however small it is itself."""

from __future__ import annotations

import io
import re
import zipfile
from xml.parsers import expat

MOST_UNPACKED = 60_000_000  # bytes of all its parts, as they really come out
MOST_CELLS = 300_000
MOST_PARTS = 500
MOST_SPAN = 20_000  # cells that merged cells and links cover: the reader makes each of them
_PLACE = re.compile(r"\$?([A-Z]{1,3})\$?([0-9]{1,7})$")
_PIECE = 65536


class Refused(ValueError):
    """The file asks for more than a table can need; the words say of what."""


def screen(data: bytes) -> None:
    """Raise `Refused` where reading the file would take far more than its size says.

    Raises what `zipfile` and `expat` do where it is no whole XLSX file.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        parts = packed.infolist()
        if len(parts) > MOST_PARTS:
            raise Refused(f"holds {len(parts)} parts")
        seen = _Seen()
        for part in parts:
            with packed.open(part) as stream:
                first = stream.read(_PIECE)
                parser = seen.parser() if first.lstrip(b"\xef\xbb\xbf \r\n\t")[:1] == b"<" else None
                while first:
                    seen.bytes += len(first)
                    if seen.bytes > MOST_UNPACKED:
                        raise Refused("holds far more than its size says")
                    if parser is not None:
                        parser.Parse(first, False)
                    first = stream.read(_PIECE)


class _Seen:
    """What has been found in the parts so far, and how far the cells of the present one reach."""

    def __init__(self) -> None:
        self.bytes = self.cells = self.span = 0

    def parser(self) -> expat.XMLParserType:
        self.row = self.column = 0
        made = expat.ParserCreate(namespace_separator=" ")
        made.StartElementHandler = self._begin
        made.StartDoctypeDeclHandler = self._doctype
        return made

    def _begin(self, name: str, attributes: dict[str, str]) -> None:
        tag = name.rpartition(" ")[2]
        if tag == "c":
            self.cells += 1
            self._reach(attributes.get("r", ""))
            if self.cells > MOST_CELLS:
                raise Refused(f"holds more than {MOST_CELLS} cells")
        elif tag in ("mergeCell", "hyperlink"):
            first, _, last = attributes.get("ref", "").partition(":")
            (c1, r1), (c2, r2) = _place(first), _place(last or first)
            self.span += (abs(c2 - c1) + 1) * (abs(r2 - r1) + 1)
            if self.span > MOST_SPAN:
                raise Refused("has merged cells or links over more cells than a table can need")

    def _reach(self, place: str) -> None:
        if not place:
            return
        column, row = _place(place)
        self.row, self.column = max(self.row, row), max(self.column, column)
        # The reader fills the whole rectangle, so that one cell far away is as good as a full sheet.
        if self.row * self.column > 4 * MOST_CELLS:
            raise Refused(f"reaches to cell {place}: take out what stands far from the table")

    def _doctype(self, *_: object) -> None:
        raise Refused("declares entities, which no table needs")


def _place(text: str) -> tuple[int, int]:
    """Return column and row of a cell's place such as AB12, both from 1."""
    fitting = _PLACE.match(text)
    if fitting is None:
        raise Refused(f'names the cell "{text[:20]}", which is no place in a sheet')
    column = 0
    for letter in fitting[1]:
        column = 26 * column + ord(letter) - 64
    return column, int(fitting[2])
