"""Findings looked up by their code."""

from __future__ import annotations

from collections.abc import Iterable

from scheduler.layout.documents import Finding


def said(findings: Iterable[Finding], code: str) -> Finding | None:
    """The one finding of that code, None where there is none."""
    found = [finding for finding in findings if finding.code == code]
    assert len(found) < 2, found
    return found[0] if found else None


def levels(findings: Iterable[Finding], code: str) -> list[str]:
    return [finding.level for finding in findings if finding.code == code]
