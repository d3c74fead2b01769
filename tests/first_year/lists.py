"""The lists of an invented business as its office has them: made by several hands, in several programs, none tidy."""

from __future__ import annotations

import csv
import datetime
import io
import random
from collections.abc import Sequence

import openpyxl

TOWNS = {"Sedge River": (41.02, -91.03), "Alder Ferry": (41.11, -91.12), "Quarry Hill": (40.95, -90.94)}
STREETS = ("Mill Lane", "Long Meadow", "Poplar Walk", "Ash Street", "Orchard Road", "Weir Road")
_FIRST = ("Odile", "Bram", "Tamsin", "Corin", "Elspet", "Rufus", "Maren", "Jory", "Isolde", "Petroc", "Wilmot", "Zoë")
_LAST = ("Marrack", "Thistlewood", "Pennyroyal", "Hatherleigh", "Sallow", "Crake", "Fennimore", "Larkmead", "Oates")
File = tuple[str, bytes]  # its name, and what it holds


def streets(dice: random.Random) -> File:
    """Return the county's file of addresses: every number of every street but Weir Road, which is too new for it."""
    lines = ["LON,LAT,NUMBER,STREET,CITY"]
    for town, (lat, lon) in TOWNS.items():
        for street in STREETS[:-1]:
            at = lat + dice.uniform(-0.03, 0.03), lon + dice.uniform(-0.03, 0.03)
            lines += [f"{at[1] + n / 9000:.5f},{at[0]:.5f},{n},{street},{town}" for n in range(1, 60)]
    return "county addresses.csv", "\n".join(lines).encode()


def people() -> File:
    """Return the people as a spreadsheet of long ago wrote them: cp1252, semicolons, a title and a blank row above."""
    rows = """Our people;;;;;;
;;;;;;
Employee;Cell;Role;Can do;Days usually worked;Day rate;Where
Lea Quill;5550101.0;Lead;masonry, stucco, motor-setup;Mon-Fri;;yard
Bo Tärn;555 0102;helper;;Mon-Fri;;yard
Ida Sorrel;555-0103;lead;masonry, roof-mount, motor-setup, electrician;Mon-Fri;;yard
Cy Reed;555-0104;Helper;stucco;Mon-Fri;;yard
Una Marsh;555-0105;extra;;Mon-Sat;180;yard
"""
    return "people 2019 (final).csv", rows.replace("yard", "Weir yard").replace("Weir Weir", "Weir").encode("cp1252")


def simple() -> list[tuple[str, File]]:
    """Return the short lists by kind: vans, crews, ladders, shelf, models with sizes and parts, usual gates."""
    return [
        ("vans", ("vans.csv", b"Short name\tCarries\tRack\tLong boxes\tStays on it\n"
                              b"van-1\t2000 lb\t20 ft\t3\tstepladder-8: 1\n"
                              b"van-2\t1900 lb\t20 ft\t3\tstepladder-8: 1\n")),
        ("crews", ("crews.xlsx", book([
            ["Who rides with whom"], [],
            ["Short name", "Name", "Lead", "Second person", "Usual van", "Hours", "A day out, $", "A minute, $",
             "A minute over, $ more", "A km, $"],
            ["one", "Lea and Bo", "Lea Quill", "Bo Tärn", "van-1", "Mon-Fri 7:30-16:30", 90, 0.6, 0.9, 0.55],
            ["two", "Ida and Cy", "Ida Sorrel", "Cy Reed", "van-2", "Mon-Fri 7:30-16:30", 90, 0.6, 0.9, 0.55],
        ]))),
        ("tools", ("ladders.csv", b"Tag;Kind;Name;Last checked\nL-1;ladder-24;24 ft, yellow;3/1/2027\n"
                                  b"L-2;ladder-24;24 ft, red;3/14/2027\nS-1;stepladder-8;8 ft;3/1/2027\n"
                                  b"S-2;stepladder-8;8 ft;3/1/2027\nM-1;material-lift;lift;3/1/2027\n")),
        ("shelf", ("shelf.xlsx", book([
            ["Item", "Name", "Counted", "Counted on"],
            *([item, name, n, datetime.date(2027, 3, 30)] for item, name, n in (
                ("shim", "shim", 400), ("sealant cartridge", "sealant", 60), ("bracket", "bracket", 40),
                ("lag 3/8 x 3 in", "lag", 900), ("washer 3/8 in", "washer", 900), ("wall-cap", "wall cap", 60))),
        ]))),
        ("models", ("makers.csv", "Model,Maker,Long boxes,Box longer by,Motor\nFen 12,Fen & Söhne,1,12 in,\n"
                                  "Tern 14,Tern Shade,1,12 in,right\n".encode("utf-16"))),
        ("model-sizes", ("sizes.csv", b"Model,Width up to,Projection up to,Weight,Arms,Brackets\n"
                                      b"Fen 12,12 ft,10 ft,119 lb,2,3\nTern 14,14 ft,10 ft,130 lb,2,3\n")),
        ("model-parts", ("parts lists.csv", b"Model,Item,Pieces,For each\nFen 12,awning,1,awning\n"
                                            b"Fen 12,hand crank,1,awning\nTern 14,awning,1,awning\n"
                                            b"Tern 14,remote,1,awning\n")),
        ("usual-gates", ("gates.csv", b"Kind of work,Town,What,Who sees to it,Due days before\n"
                                      b"install,Alder Ferry,building permit,office,7\n")),
        ("times", ("our times.csv", "Minutes by Léa\n\nJob type;Step;Counted;Minutes;Remarks\n"
                                    "Installs;prime the wall;visit;10 min;clocked\n".encode("cp1252"))),
        ("weather", ("limits.csv", b"For,What is limited,Limit,Reason,Source\n"
                                    b"Installs,Gusts at most,24,seen it,ours\n")),
    ]  # fmt: skip


def sold(dice: random.Random, count: int) -> list[tuple[str, File]]:
    """Return customers as CSV and `count` jobs as a book: a third installs, addresses in one cell, dates as written."""
    jobs, first = [], datetime.date(2027, 4, 16)
    for n in range(count):
        name = f"{_LAST[n % len(_LAST)]}, {_FIRST[(n * 5) % len(_FIRST)]}"
        town = list(TOWNS)[n % 3]
        street = STREETS[-1] if n % 11 == 7 else STREETS[n % (len(STREETS) - 1)]
        where = f"{dice.randint(1, 58)} {street}, {town}, IA 52001"
        due = first + datetime.timedelta(days=4 + 2 * n)
        kind = ("Installation", "Repair", "Survey")[n % 3]
        model = ("Fen 12", "Tern 14")[n % 2] if kind == "Installation" else None
        arrives = datetime.date(2027, 4, 1) if model else None
        jobs.append([name, 5550200 + n, where, kind, f"{due.month}/{due.day}/{due.year}", model,
                     ("12 ft" if n % 2 == 0 else "14 ft") if model else None, "10 ft" if model else None, arrives,
                     "the crank slips" if kind == "Repair" else None])  # fmt: skip
    heads = ["Customer", "Phone", "Job address", "Type", "Due date", "Model", "Wide", "Proj", "Arrival", "Problem"]
    older = "Last name;First name;Phone;Street;City;Remarks\nMoss;Ada;555 0300;9 Mill Lane;Sedge River;paid 2025\n"
    older += "Vane;Hob;555 0301;3 Weir Road;Quarry Hill;two dogs\n"
    return [
        ("customers", ("customers.txt", older.encode("cp1252"))),
        ("jobs", ("spring jobs.xlsx", book([["Sold and promised, spring"], [], heads, *jobs]))),
    ]


def calls(n: int) -> File:
    """Return who called in week `n`, as somebody typed it: two repairs and a wall to be measured."""
    heads = "Name|Tel|Where|City|Type|What is wrong\n"
    lines = [
        f"{_FIRST[(n + k) % len(_FIRST)]} {_LAST[(2 * n + k) % len(_LAST)]}|555-{600 + 10 * n + k:04}|"
        f"{3 * n + k + 5} {STREETS[k]}|{list(TOWNS)[(n + k) % 3]}|{kind}|{fault}\n"
        for k, (kind, fault) in enumerate((("Repair", "cloth torn"), ("Survey", ""), ("Repair", "motor hums")))
    ]
    return f"calls week {n + 1}.txt", (heads + "".join(lines)).encode("utf-8-sig")


def namesakes(refused: str) -> bytes:
    """Return a file of refused rows with the word that says that these are other people of the same name."""
    heads, *lines = csv.reader(io.StringIO(refused))
    out = io.StringIO()
    csv.writer(out).writerows([["Customer's number", *heads], *(["new", *line] for line in lines)])
    return out.getvalue().encode()


def book(rows: Sequence[Sequence[object]]) -> bytes:
    """Return an XLSX file with one sheet."""
    made = openpyxl.Workbook()
    for row in rows:
        made.active.append(list(row))
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()
