"""What has changed, in the order in which it was sealed into the chain: no reader of it misses a line.

Numbers of the history alone would not do: of two lines written at once the later number may come into sight first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.languages import to_say
from api.ledger.history import in_words


@dataclass(frozen=True)
class FeedLine:
    """A line of the history with its place in the feed: `cursor` is where to go on after it."""

    cursor: int
    line: tables.History

    @property
    def kind(self) -> str | None:
        """Return which of `KINDS` it is, None for any other change."""
        return _kind(self.line)

    def record(self) -> dict[str, Any]:
        """Return the change as programs read it; `words` is the line in a sentence."""
        return {
            "cursor": self.cursor, "event": self.kind, **self.line.model_dump(mode="json"), "words": in_words(self.line)
        }  # fmt: skip


# What a program may be told of as it happens.
KINDS = {
    "week.posted": to_say("a week is posted"),
    "visit.moved": to_say("a posted visit is moved or waits again"),
    "kit.short": to_say("a piece of a kit is missing or broken"),
    "visit.done": to_say("a crew says how a visit ended"),
    "promise.late": to_say("a crew will be late for a promise"),
}
_RESULTS = ("done", "partly done", "not done")


def _kind(line: tables.History) -> str | None:
    did, noun, detail = line.did, line.noun, line.detail
    if noun == "week" and did == "posted":
        return "week.posted"
    if (noun == "visit" and did == "moved") or did in ("rebooked", "let wait"):
        return "visit.moved"
    if (noun == "kit" and did.startswith("found ")) or (did == "counted" and detail.get("kit") == "short"):
        return "kit.short"
    if noun == "visit" and did in _RESULTS:
        return "visit.done"
    if noun == "message" and "late until" in detail:
        return "promise.late"
    return None


def newest(session: Session) -> int:
    """Return the cursor of the newest change, 0 where there is none."""
    link = tables.ChainLink
    found = select(link.id).where(link.of_table == "history").order_by(col(link.id).desc()).limit(1)
    return session.exec(found).first() or 0


def changes(session: Session, after: int, most: int) -> list[FeedLine]:
    """Return at most `most` changes after the cursor `after`, the oldest first."""
    link, line = tables.ChainLink, tables.History
    wanted = (
        select(link.id, line)
        .join(line, col(line.id) == link.row_id)
        .where(link.of_table == "history", col(link.id) > after)
        .order_by(col(link.id))
        .limit(most)
    )
    return [FeedLine(int(cursor or 0), row) for cursor, row in session.exec(wanted)]
