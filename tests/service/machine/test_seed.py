"""Reading the demo business from its files: all of it, and one clear sentence for whatever is wrong."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlmodel import select

from api import tables
from api.business.seed import load, read_business
from api.database import transaction
from api.fields.files.sheets import BadFiles


def edit(folder: Path, file: str, old: str, new: str) -> None:
    text = (folder / file).read_text()
    assert old in text, f"{file} no longer holds {old!r}"
    (folder / file).write_text(text.replace(old, new, 1))


def test_the_demo_business_is_loaded_whole(demo_files: Path, database: sa.Engine) -> None:
    business = read_business(demo_files)
    with transaction(database) as session:
        load(session, business)
    with transaction(database) as session:
        kinds = [visit.kind for visit in session.exec(select(tables.Visit))]
        assert len(kinds) == 62
        assert {kind: kinds.count(kind) for kind in set(kinds)} == {"install": 34, "survey": 12, "repair": 16}
        assert len(session.exec(select(tables.Crew)).all()) == 5
        assert len(session.exec(select(tables.Yard)).all()) == 2
        assert len({van.rack_mm for van in session.exec(select(tables.Van))}) == 3
        surveys = session.exec(select(tables.SiteSurvey)).all()
        assert {survey.document["wall"]["kind"] for survey in surveys} == {
            "wood-studs", "rim-board", "rafters", "stucco-on-studs", "concrete", "solid-masonry", "hollow-block",
            "brick-veneer", "fascia",
        }  # fmt: skip
    assert business.first_week.start_date.isoformat() == "2027-04-12"


FAULTS: list[tuple[str, str, str, str]] = [
    ("vans.csv", "7900", "long", 'vans.csv, row 2, rack_mm: must be a whole number, is "long"'),
    ("people.csv", "masonry ", "Magic! ", "people.csv, row 2, skills: must be small letters with dashes between"),
    ("people.csv", "Mon-Fri", "Fri-Mon", 'people.csv, row 2, weekdays: "Fri-Mon" runs backwards'),
    ("crews.csv", "7:30-16:30", "16:30-7:30", 'crews.csv, row 2, hours: "16:30-7:30" ends before it starts'),
    ("crews.csv", "van-1", "van-9", 'crews.csv, row 2, van: "van-9" does not stand in vans.csv'),
    ("crews.csv", "north-2,", "north-1,", 'crews.csv, row 3, crew: "north-1" stands'),
    ("sites.csv", "site,customer", "place,customer", 'sites.csv, row 1: has no column "site"'),
    ("visits.csv", ",install,", ",dance,", 'visits.csv, row 2, kind: must be one of install, repair, survey,'),
    ("business.yaml", "America/Chicago", "[", "business.yaml, line"),
    ("business.yaml", "length: 30", "length: soon", 'business.yaml, rules.rest.length: must be a whole number'),
    ("business.yaml", "2027-04-12", "2027-04-13", "business.yaml, first_week.start_date: must be a Monday"),
    ("surveys/V-2100.yaml", "bolts: 4", "bolts: none", "surveys/V-2100.yaml, survey.awning.bolts: must be"),
    ("limits.csv", "gust_mph,25", "gust_mph,60", "limits.csv, line 3, value: must be a number from 0 to 30"),
    ("equipment.csv", "2027-04-15", "2027-04-01", "out_last: must not come before out_first"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "said"), FAULTS)
def test_a_bad_cell_is_told_with_file_row_and_column(
    demo_files: Path, file: str, old: str, new: str, said: str
) -> None:
    edit(demo_files, file, old, new)
    with pytest.raises(BadFiles) as caught:
        read_business(demo_files)
    assert said in str(caught.value)


def test_all_faults_are_told_at_once(demo_files: Path) -> None:
    edit(demo_files, "vans.csv", "7900", "long")
    edit(demo_files, "people.csv", "masonry ", "Magic! ")
    with pytest.raises(BadFiles) as caught:
        read_business(demo_files)
    assert [fault.where for fault in caught.value.faults] == ["people.csv, row 2, skills", "vans.csv, row 2, rack_mm"]


@pytest.mark.parametrize("spoil", [Path.unlink, lambda path: path.write_bytes(b"\xff\xfe\x00")])
def test_a_missing_or_unreadable_file_is_named(demo_files: Path, spoil: Callable[[Path], object]) -> None:
    spoil(demo_files / "follows.csv")
    with pytest.raises(BadFiles, match=r"^follows\.csv"):
        read_business(demo_files)
