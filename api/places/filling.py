"""Tables that are taken in without coordinates: each site gets those of its address, at once or later."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from sqlmodel import Session

from api import tables
from api.fields.addresses.streets import question_of
from api.places.answers import AddressAnswer
from api.places.finder import Address, Finder
from api.places.kept import kept_answer
from api.places.pins import far_words, pin_text, read_pin
from api.uploads.reading import Upload

LIVE = 6  # addresses that one request asks a service for itself: a second each; the rest are worked off behind it
BY = "tables"


def filled(session: Session, finder: Finder, uploads: Sequence[Upload]) -> list[Upload]:
    """Return the tables with places where rows of sites had none and their address is known for sure.

    The others are looked up, or listed for somebody to place; they come in all the same.
    """
    return [_sites(session, finder, upload) if upload.name == "sites" else upload for upload in uploads]


def filler(finder: Finder) -> Callable[[Session, Sequence[Upload]], tuple[list[Upload], list[str]]]:
    """Return what gives tables with places, as `filled`, and the questions that are left of them."""

    def fill(session: Session, uploads: Sequence[Upload]) -> tuple[list[Upload], list[str]]:
        found = filled(session, finder, uploads)
        return found, questions(session, found)

    return fill


def _sites(session: Session, finder: Finder, upload: Upload) -> Upload:
    if not {"site", "address", "town"} <= {*upload.head}:
        return upload  # told as a column that is missing
    head = [*upload.head, *(name for name in ("lat", "lon") if name not in upload.head)]
    at = {name: n for n, name in enumerate(head)}
    lines = [(number, [*some, *[""] * (len(head) - len(some))]) for number, some in upload.lines]
    bare = [
        (cells, (cells[at["address"]], cells[at["town"]]))
        for _, cells in lines
        if cells[at["address"]] and not cells[at["lat"]] and not cells[at["lon"]]
        and not _stays(session, cells[at["site"]], cells[at["address"]], cells[at["town"]])
    ]  # fmt: skip
    look_up(finder, (address for _, address in bare))
    for cells, address in bare:
        answer = kept_answer(session, *address)
        if answer is not None and answer.sure is not None:
            cells[at["lat"]], cells[at["lon"]] = f"{answer.sure.lat:.6f}", f"{answer.sure.lon:.6f}"
    return replace(upload, head=tuple(head), lines=tuple((number, tuple(cells)) for number, cells in lines))


def _stays(session: Session, key: str, address: str, town: str) -> bool:
    """Say whether a site is known already at just this address: then it keeps its place."""
    held = session.get(tables.Site, key) if "\0" not in key else None
    return held is not None and question_of(address, town) == question_of(held.address, held.town)


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


def questions(session: Session, uploads: Sequence[Upload]) -> list[str]:
    """Return the questions about sites that are far from every yard, and what is to be put on the map later."""
    asked = []
    for upload in uploads:
        at = {name: n for n, name in enumerate(upload.head)}
        if upload.name != "sites" or not {"site", "address", "town", "lat", "lon"} <= {*at}:
            continue
        wrong = {fault.row for fault in upload.faults}
        for number, cells in upload.lines:
            try:
                pin = read_pin(pin_text(cells[at["lat"]], cells[at["lon"]]))
            except ValueError:
                continue  # told as a fault of its cell
            if pin is None and not _stays(session, *(cells[at[name]] for name in ("site", "address", "town"))):
                asked.append(f"{upload.file}, row {number}: its address is not on the map yet; put it there on the "
                             "page Addresses, its jobs wait until then")  # fmt: skip
            far = far_words(session, *pin) if pin and number not in wrong else ""
            if far:
                asked.append(f"{upload.file}, row {number}: {far}")
    return asked
