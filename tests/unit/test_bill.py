"""The bill of materials is judged: what is missing from it, of another version, or without an address is named."""

from __future__ import annotations

from tests.bill import faults, pinned

GOOD = {
    "bomFormat": "CycloneDX",
    "components": [
        {"name": "Some_Thing", "version": "1.2", "purl": "pkg:pypi/some-thing@1.2"},
        {"name": "other", "version": "2", "purl": "pkg:pypi/other@2"},
    ],
}


def test_a_whole_bill_has_no_fault() -> None:
    assert faults(GOOD, {"some-thing": "1.2"}) == []


def test_what_is_missing_or_different_is_named() -> None:
    assert faults(GOOD, {"third": "1"}) == ["third is pinned and not in it"]
    assert faults(GOOD, {"other": "3"}) == ["other is in it as 2, pinned as 3"]
    assert faults({"bomFormat": "CycloneDX", "components": [{"name": "x"}]}, {}) == [
        "x has no version",
        "x has no address (purl)",
    ]
    assert "it is no CycloneDX document" in faults({}, {})


def test_the_pins_are_read() -> None:
    found = pinned()
    assert len(found) > 50
    assert found["fastapi"].count(".") == 2
