"""Addresses: where they are looked up, trying it, a file of addresses, and those that somebody has to place."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

import msgspec
from fastapi import File, Form, Query, Request, UploadFile
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel, ConfigDict

from api.access.accounts import Role
from api.access.guards import Who, allow
from api.business.outside import PLACES
from api.clock import Now, local_moments
from api.fields.limits import as_sent, limit
from api.http.pages import Database, page, wants_json
from api.http.subject import Subject
from api.ledger.history import note
from api.places import addresses, shown
from api.places.answers import AddressAnswer, PlaceFound, asked_words
from api.places.form import Placing, blank, looked_up, placed
from api.places.kept import choose
from api.places.pins import read_pin
from api.places.sites import place_known
from api.tables import PlaceSource
from scheduler.errors import BadInput

router = Subject(prefix="/places", tags=("places",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
AskedAddress = Annotated[str, Query(max_length=200, description="street and number")]
AskedTown = Annotated[str, Query(max_length=120)]


class Asked(BaseModel):
    """An address to be found; `town` may be empty where the address names it."""

    model_config = ConfigDict(extra="forbid", strict=True)

    address: Annotated[str, limit("place_answer.address")]
    town: Annotated[str, limit("place_answer.town")] = ""


@router.get("")
def places(request: Request, session: Database, _: Office, now: Now, kept: str = "") -> Response:
    """Show where addresses are looked up, how that goes, and the addresses of tables that somebody has to place."""
    return _page(request, session, now, kept=kept[:200])


@router.post("/find")
def find(request: Request, _: Office, body: Asked) -> Response:
    """Say where an address is: the candidates, the best first, and in words how sure that is."""
    return _answered(request.app.state.places.find(body.address, body.town))


@router.post("/try")
def try_now(
    request: Request, session: Database, _: Office, now: Now,
    address: Annotated[str, Form(), as_sent("place_answer.address")],
    town: Annotated[str, Form(), as_sent("place_answer.town")] = "",
) -> Response:  # fmt: skip
    """Look up one address with what is set, and show what came of it."""
    answer = request.app.state.places.find(address, town)
    if wants_json(request):
        return _answered(answer)
    return _page(request, session, now, tried=(address, town, answer))


@router.post("/addresses")
def take_addresses(
    request: Request, session: Database, now: Now, who: Office,
    file: Annotated[UploadFile, File(description="CSV with LON, LAT, NUMBER, STREET and CITY")],
) -> Response:  # fmt: skip
    """Take a file of addresses in, in place of the one before; with no source set it becomes the source."""
    name = (file.filename or "the file")[:120]
    try:
        count = addresses.take_in(session, file.file.read(addresses.MOST_BYTES + 1), name)
    except BadInput as fault:
        if wants_json(request):
            raise
        return _page(request, session, now, fault=f"{fault}.", status=422)
    source = session.get(PlaceSource, 1) or PlaceSource()
    begun = source.kind == "none"
    if begun:
        source.kind, source.version = "file", source.version + 1
        session.add(source)
        note(session, now, who.name, "changed", "settings", "places", {"kind": ["none", "file"]})
    note(session, now, who.name, "took in", "addresses", name[:80], {"addresses": count})
    sites = len(place_known(session, by=who.name, now=now)) if source.kind == "file" else 0
    if wants_json(request):
        return Response(msgspec.json.encode({"addresses": count}), media_type="application/json")
    words = f"{count:,} addresses taken in.{' Addresses are looked up in them from now on.' if begun else ''}"
    words += f" {sites} {'site is' if sites == 1 else 'sites are'} on the map by them." if sites else ""
    return RedirectResponse(f"/places?{urlencode({'kept': words})}", 303)


@router.get("/one")
def one(request: Request, session: Database, _: Office, address: AskedAddress = "", town: AskedTown = "") -> Response:
    """Show one address with its candidates and its pin, to be placed by somebody."""
    if not address.strip():
        return RedirectResponse("/places", 303)
    return _one_page(request, address, town, looked_up(session, request.app.state.places, address, town))


@router.post("/one")
def place_one(
    request: Request, session: Database, now: Now, who: Office,
    address: Annotated[str, Form(), as_sent("place_answer.address")],
    town: Annotated[str, Form(), as_sent("place_answer.town")] = "",
    pin: Annotated[str, Form(max_length=60)] = "", found: Annotated[str, Form(max_length=60)] = "",
    far: Annotated[str, Form(max_length=3)] = "",
) -> Response:  # fmt: skip
    """Keep where an address is; tables that name it are taken in with that place from now on."""
    sent = {"pin": pin, "found": found, "far": far}
    fields, place = placed(session, request.app.state.places, sent, "", address, town)
    if place.fault:
        return _one_page(request, address, town, place, 422)
    at = read_pin(f"{fields['lat']}, {fields['lon']}")
    assert at is not None  # `placed` has said so
    choose(session, address, town, PlaceFound(asked_words(address, town)[:200], *at, "house"), by=who.name, now=now)
    place_known(session, by=who.name, now=now, address=address, town=town)
    return RedirectResponse(f"/places?{urlencode({'kept': f'{asked_words(address, town)} is placed.'})}", 303)


def _answered(answer: AddressAnswer) -> Response:
    return Response(msgspec.json.encode(answer), media_type="application/json")


def _one_page(request: Request, address: str, town: str, place: Placing, status: int = 200) -> Response:
    values = {"address": address, "town": town, "place": place, "line": asked_words(address, town)}
    return page(request, "office/place.html", values, status)


def _page(
    request: Request, session: Database, now: Now, *, kept: str = "", fault: str = "",
    tried: tuple[str, str, AddressAnswer] | None = None, status: int = 200,
) -> Response:  # fmt: skip
    stands = shown.standing(session, now)
    if wants_json(request):
        return Response(msgspec.json.encode(stands), media_type="application/json")
    pin = tried[2].places[0].pin if tried and tried[2].places else ""
    values = {
        "now": stands, "kind": dict(PLACES)[stands.kind], "moment": local_moments(session), "kept": kept,
        "fault": fault, "tried": tried, "map": blank(session, "", pin).map if pin else None,
        "unsure": [(shown.line(one), urlencode({"address": one.address, "town": one.town}), one)
                   for one in stands.unsure],
    }  # fmt: skip
    return page(request, "office/places.html", values, status)
