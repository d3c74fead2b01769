"""Tables that are taken in without coordinates: each site gets those of its address."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from sqlmodel import Session

from api.exchange.uploads import CellFault, Upload
from api.places.answers import AddressAnswer
from api.places.finder import Address, Finder, kept_answer
from api.places.pins import far_words, read_pin

LIVE = 6  # addresses that one request asks a service for itself: a second each; the rest are worked off behind it
BY = "tables"


def filled(session: Session, finder: Finder, uploads: Sequence[Upload]) -> list[Upload]:
    """Return the tables with places where rows of sites had none; an address that is not sure is a fault of its row."""
    return [_sites(session, finder, upload) if upload.name == "sites" else upload for upload in uploads]


def filler(finder: Finder) -> Callable[[Session, Sequence[Upload]], tuple[list[Upload], list[str]]]:
    """Return what gives tables with places, as `filled`, and the questions that are left of them."""

    def fill(session: Session, uploads: Sequence[Upload]) -> tuple[list[Upload], list[str]]:
        found = filled(session, finder, uploads)
        return found, questions(session, found)

    return fill


def _sites(session: Session, finder: Finder, upload: Upload) -> Upload:
    if not {"address", "town"} <= {*upload.head}:
        return upload  # told as a column that is missing
    head = [*upload.head, *(name for name in ("lat", "lon") if name not in upload.head)]
    at = {name: n for n, name in enumerate(head)}
    lines, faults = [], list(upload.faults)
    later: list[Address] = []
    unsure: list[tuple[Address, AddressAnswer]] = []
    live = LIVE
    for number, some in upload.lines:
        cells = [*some, *[""] * (len(head) - len(some))]
        address, town = cells[at["address"]], cells[at["town"]]
        if address and not cells[at["lat"]] and not cells[at["lon"]]:
            answer = kept_answer(session, address, town)
            if answer is None and live and not later:
                answer, live = finder.find(address, town, by=BY), live - 1
            if answer is None or answer.state == "fault":
                later.append((address, town))
            elif answer.sure is None and answer.state != "no source":
                unsure.append(((address, town), answer))
            sure = answer.sure if answer else None
            cells[at["lat"]], cells[at["lon"]] = (f"{sure.lat:.6f}", f"{sure.lon:.6f}") if sure else ("0", "0")
            if sure is None:
                words = _words(answer, len(later))
                faults.append(CellFault(upload.file, words, sheet=upload.sheet, row=number, column="address"))
        lines.append((number, tuple(cells)))
    if unsure:
        finder.unsure(unsure, BY)
    if later:
        finder.want(later, BY)
    return replace(upload, head=tuple(head), lines=tuple(lines), faults=tuple(faults))


def look_up(finder: Finder, wanted: Iterable[Address]) -> None:
    """Have addresses looked up: the first few at once, the rest in the background.

    Those that are not found for sure are listed for somebody to place, also where nothing is set that looks them up.
    """
    unsure: list[tuple[Address, AddressAnswer]] = []
    later: list[Address] = []
    asked = 0
    for address, town in dict.fromkeys(wanted):
        answer = finder.known(address, town)
        if answer is None and asked < LIVE and not later:
            answer, asked = finder.find(address, town, by=BY), asked + 1
        if answer is None or answer.state == "fault":
            later.append((address, town))
        elif answer.sure is None:
            unsure.append(((address, town), answer))
    if unsure:
        finder.unsure(unsure, BY)
    if later:
        finder.want(later, BY)


def _words(answer: AddressAnswer | None, waiting: int) -> str:
    if answer is None:
        wait = f"about {waiting} s" if waiting > 1 else "a second"
        return f"has no coordinates yet: its address is being looked up, which takes {wait}; then send the file again"
    if answer.state == "no source":
        return "has no coordinates: set where addresses are looked up, on the page Addresses, or fill lat and lon in"
    if answer.state == "fault":
        return f"has no coordinates yet: {answer.words} The address is still in line; send the file again later"
    return f"is not sure: {answer.words} Do that on the page Addresses, then send the file again"


def questions(session: Session, uploads: Sequence[Upload]) -> list[str]:
    """Return the questions about sites that are far from every yard."""
    asked = []
    for upload in uploads:
        at = {name: n for n, name in enumerate(upload.head)}
        if upload.name != "sites" or not {"lat", "lon"} <= {*at}:
            continue
        wrong = {fault.row for fault in upload.faults}
        for number, cells in upload.lines:
            try:
                pin = read_pin(f"{cells[at['lat']]}, {cells[at['lon']]}")
            except ValueError:
                continue  # told as a fault of its cell
            far = far_words(session, *pin) if pin and number not in wrong else ""
            if far:
                asked.append(f"{upload.file}, row {number}: {far}")
    return asked
