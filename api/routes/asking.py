"""What falls by a change that a program sends: the question that pages ask, as a refusal that names it."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, Query, Request, Response
from sqlmodel import Session

from api.clock import Now
from api.falls.today import Days
from api.fields.shown import clock, day_name
from api.http.problems import Problem
from api.office.hanging import Todays, as_they_stand, hanging_on


class AskedWhatFalls:
    """Whether posted visits that fall by a change have been seen by whoever sends it."""

    def __init__(
        self,
        request: Request,
        now: Now,
        although_falls: Annotated[
            bool, Query(description="change it although visits can’t go as posted then, or crews lose hours")
        ] = False,
    ) -> None:
        self._days: Days = request.app.state.searches.days
        self._now: datetime.datetime = now
        self._although = although_falls

    def __call__(self, session: Session, write: Callable[[], Response]) -> Callable[[], Response]:
        """Return `write`, refused with 409 where visits can’t go as posted or crews lose hours: nothing is kept."""

        if self._although:
            return write
        before = as_they_stand(self._days, self._now)

        def asked() -> Response:
            answer = write()
            self._ask(session, before)
            return answer

        return asked

    def _ask(self, session: Session, before: Todays) -> None:
        hangs = hanging_on(session, before, self._now)
        if not hangs.fall and not hangs.lost:
            return
        words = [f"{one}." for one in hangs.lost] + [
            f"{one.visit_id}, {day_name(one.date)} {clock(one.spot.start)}, can't go as posted: {one.words}"
            for one in hangs.fall
        ]
        falls = [
            {"visit": one.visit_id, "date": one.date.isoformat(), "start": one.spot.start, "words": one.words}
            for one in hangs.fall
        ]
        detail = f"Nothing was changed. {' '.join(words)} Send it with although_falls=true to change it all the same."
        raise Problem(409, detail, kind="falls", lost=list(hangs.lost), falls=falls)


Asked = Annotated[AskedWhatFalls, Depends()]
