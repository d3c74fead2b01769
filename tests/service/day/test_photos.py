"""/jobs/…/photos and /photos/…: judged by content, rid of place and device, seen by those who may see the job."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import ExifTags, Image
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.http.problems import Problem
from api.ledger import kept_files
from tests.service.cast import PAGE, signed_in
from tests.service.day.day_cast import CREW, OTHER, Jobs, history, phone, post


@pytest.fixture(autouse=True, scope="module")
def pictures_read_as_beside_papers() -> None:
    import weasyprint  # noqa: F401  (it changes how pictures that are cut off are read)


def picture(kind: str = "JPEG", size: tuple[int, int] = (64, 48), **how: Any) -> bytes:
    out = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(out, kind, **how)
    return out.getvalue()


def with_place() -> bytes:
    """A photo as a phone takes it: turned, with the place, the device and the moment in it."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif[ExifTags.Base.Model] = "SECRET-PHONE"
    exif[ExifTags.Base.DateTime] = "2027:04:12 07:00:00"
    place = exif.get_ifd(ExifTags.IFD.GPSInfo)
    place[ExifTags.GPS.GPSLatitudeRef], place[ExifTags.GPS.GPSLatitude] = "N", (41.0, 7.0, 12.0)
    return picture(exif=exif, comment=b"SECRET-COMMENT")


def send(client: TestClient, visit: str, data: bytes, name: str = "photo.jpg", **form: Any) -> Any:
    fields = {"shows": "work", "caption": "", **form}
    return client.post(f"/jobs/{visit}/photos", files={"file": (name, data, "image/jpeg")}, data=fields)


def test_the_photo_of_the_zero_reaches_the_crew_that_drills_whoever_took_it(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, office = phone(app), signed_in(app, Role.office)
    assert crew.get(f"/jobs/{jobs.install}/zero").status_code == 404
    assert "No photo shows the zero yet" in office.get(f"/jobs/{jobs.install}", headers=PAGE).text
    with transaction(app.state.database) as session:
        install = session.get_one(tables.Visit, jobs.install)
        visit = tables.Visit(id="V-measured", site_id=install.site_id, kind="survey", awning_id=install.awning_id)  # type: ignore[call-arg]
        session.add(visit)
    made = send(office, "V-measured", picture(), shows="zero", caption="left jamb, straight on")
    assert made.status_code == 201, made.text
    shown = crew.get(f"/jobs/{jobs.install}/zero")
    assert (shown.status_code, shown.headers["content-type"]) == (200, "image/jpeg")
    assert crew.get(made.json()["address"]).status_code == 404  # of a visit that is not theirs
    for client, address in ((crew, f"/crews/{CREW}/days/2027-04-12"), (office, f"/jobs/{jobs.install}")):
        text = client.get(address, headers=PAGE).text
        assert f"/jobs/{jobs.install}/zero" in text
        assert "left jamb, straight on" in text
    again = send(crew, jobs.install, picture(size=(32, 32)), shows="zero", caption="nearer")
    assert again.status_code == 201, again.text  # the newest counts
    assert "nearer" in office.get(f"/jobs/{jobs.install}", headers=PAGE).text
    assert phone(app, OTHER).get(f"/jobs/{jobs.install}/zero").status_code == 404


def test_a_crew_adds_a_photo_and_those_who_see_the_job_see_it(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, theirs = phone(app), phone(app, OTHER)
    made = send(crew, jobs.install, picture(), caption="left bracket", at="2027-04-12T11:00:00Z")
    assert made.status_code == 201, made.text
    assert (made.json()["shows"], made.json()["caption"]) == ("work", "left bracket")
    assert made.json()["taken_at"].startswith("2027-04-12T11:00:00")
    address = made.json()["address"]
    seen = crew.get(address)
    assert (seen.status_code, seen.headers["content-type"]) == (200, "image/jpeg")
    assert Image.open(io.BytesIO(seen.content)).size == (64, 48)
    assert crew.get(address, headers={"If-None-Match": seen.headers["etag"]}).status_code == 304
    assert [row["id"] for row in crew.get(f"/jobs/{jobs.install}/photos").json()] == [made.json()["id"]]
    assert signed_in(app, Role.reader).get(address).status_code == 200
    for client, status in ((theirs, 404), (TestClient(app), 401)):
        assert client.get(address).status_code == status
        assert client.get(f"/jobs/{jobs.install}/photos").status_code == status
        assert send(client, jobs.install, picture()).status_code == status
    assert "left bracket" in crew.get(f"/crews/{CREW}/days/2027-04-12", headers=PAGE).text
    assert history(app, "photo") == [("took", "photo", str(made.json()["id"]))]


def test_place_device_and_moment_are_dropped_and_which_way_is_up_is_kept(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office = signed_in(app, Role.office)
    sent = with_place()
    assert b"SECRET-PHONE" in sent
    kept = office.get(send(office, jobs.install, sent).json()["address"]).content
    assert b"SECRET" not in kept
    exif = Image.open(io.BytesIO(kept)).getexif()
    assert dict(exif) == {ExifTags.Base.Orientation: 6}
    assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
    before, after = (Image.open(io.BytesIO(data)).convert("L").tobytes() for data in (sent, kept))
    assert max(abs(a - b) for a, b in zip(before, after, strict=True)) <= 1  # the picture itself is as it was


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_png_and_webp_are_taken_and_told_as_what_they_are(day: tuple[FastAPI, Jobs], kind: str) -> None:
    app, jobs = day
    office = signed_in(app, Role.office)
    made = send(office, jobs.install, picture(kind), name="photo.jpg")  # its name says otherwise
    assert made.json()["media_type"] == f"image/{kind.lower()}"


REFUSED = {
    "a text": (b"just words", 415),
    "a page": (b"<html><script>alert(1)</script>", 415),
    "a drawing with script": (b'<svg xmlns="http://www.w3.org/2000/svg"><script/></svg>', 415),
    "a GIF": (picture("GIF"), 415),
    "a cut off JPEG": (picture(size=(800, 600))[:900], 415),
    "a cut off PNG": (picture("PNG", size=(800, 600))[:200], 415),
    "a JPEG's beginning alone": (b"\xff\xd8\xff" + b"0" * 50, 415),
    "nothing": (b"", 415),
    "too many bytes": (b"\xff\xd8\xff" + b"0" * kept_files.MOST_BYTES, 413),
}


@pytest.mark.parametrize("what", REFUSED)
def test_anything_else_is_refused_and_leaves_nothing_behind(day: tuple[FastAPI, Jobs], what: str) -> None:
    app, jobs = day
    data, status = REFUSED[what]
    refused = send(phone(app), jobs.install, data)
    assert refused.status_code == status
    assert refused.json()["detail"]
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.Photo)).all() == []
    assert not list(app.state.settings.data.glob("photos/*"))


def test_a_small_file_that_would_fill_the_memory_is_refused() -> None:
    bomb = picture("PNG", size=(10, 10))
    wide = bomb[:16] + (60_000).to_bytes(4, "big") * 2 + bomb[24:]
    with pytest.raises(Problem) as refused:
        kept_files.clean(wide)
    assert refused.value.status in (413, 415)


def test_what_is_asked_in_a_wrong_form_is_refused(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office = signed_in(app, Role.office)
    assert send(office, jobs.install, picture(), shows="the sky").status_code == 422
    assert send(office, jobs.install, picture(), caption="x" * 201).status_code == 422
    assert send(office, jobs.install, picture(), at="2027-04-12").status_code == 422
    assert office.post(f"/jobs/{jobs.install}/photos", data={"shows": "wall"}).status_code == 422
    assert send(office, "nothing", picture()).status_code == 404
    assert send(signed_in(app, Role.reader), jobs.install, picture()).status_code == 403
    for photo_id in ("0", "7", "99999999999999", "..%2F..%2Fsecret"):
        assert office.get(f"/photos/{photo_id}").status_code in (404, 422)


def test_the_same_picture_twice_is_one_and_a_repeated_write_too(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    crew.headers["Idempotency-Key"] = "photo-1"
    first, repeated = (send(crew, jobs.install, picture()) for _ in range(2))
    assert (repeated.status_code, repeated.headers.get("idempotency-replayed")) == (201, "true")
    crew.headers["Idempotency-Key"] = "photo-2"
    again = send(crew, jobs.install, picture())
    assert (again.status_code, again.json()["id"]) == (200, first.json()["id"])
    assert len(list(app.state.settings.data.glob("photos/*"))) == 1


def test_a_photo_of_a_visit_moved_away_meanwhile_is_kept(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    with transaction(app.state.database) as session:
        post(session, {CREW: [(jobs.repair, 840, 930)], OTHER: [(jobs.install, 540, 780)]})
    assert send(crew, jobs.install, picture()).status_code == 201
    assert send(crew, jobs.others, picture()).status_code == 404


def test_a_form_without_script_leads_back_to_the_job(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office = signed_in(app, Role.office)
    office.headers["accept"] = "text/html"
    made = send(office, jobs.install, picture())
    assert (made.status_code, made.headers["location"]) == (303, f"/jobs/{jobs.install}#photos")


def test_a_picture_lost_from_the_folder_is_told(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office = signed_in(app, Role.office)
    address = send(office, jobs.install, picture()).json()["address"]
    for path in app.state.settings.data.glob("photos/*"):
        path.unlink()
    assert "restore it from a backup" in office.get(address).json()["detail"]
    with pytest.raises(ValueError, match="not a digest"):
        kept_files.path_of(Path("/data"), "photos", "../secret")
