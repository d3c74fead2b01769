"""The part of a list that a caller asks for, alike at every address: `limit` entries behind the one that `after` names.

An answer that is an object says in `next` what to send as `after` to go on, null at the end. Every answer that has more
behind it says so in a Link header too (RFC 8288, rel="next").
"""

# No `from __future__ import annotations`: the web framework reads the types of the function that `parts_of` makes.

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

import msgspec
from fastapi import Depends, Query, Request
from pydantic import AfterValidator
from starlette.responses import Response

from scheduler.errors import BadInput

T = TypeVar("T")
MOST = 200


def no_control(text: str) -> str:
    """Return a text as it is; raises `ValueError` where it has control characters other than tabs and line ends."""
    if any((ord(letter) < 32 and letter not in "\n\t") or ord(letter) == 127 for letter in text):
        raise ValueError("must not contain control characters")
    return text


After = Annotated[
    Annotated[str, AfterValidator(no_control)] | None,
    Query(
        max_length=80, description="from behind this entry, the `next` of the answer before; left out: from the first"
    ),
]
AnyLimit = Annotated[int | None, Query(ge=1, le=MOST, description="how many at most; left out: all")]


@dataclass(frozen=True)
class ListPart:
    """What a caller asks for; `limit` None: all."""

    request: Request
    after: str | None
    limit: int | None

    @property
    def most(self) -> int:
        """Return how many entries are asked for, of a list that is never given whole."""
        assert self.limit is not None
        return self.limit

    @property
    def number(self) -> int | None:
        """Return the number that `after` is; raises `BadInput` where it is none that an entry could have."""
        if self.after is None:
            return None
        if not (self.after.isascii() and self.after.isdecimal() and int(self.after) < 2**31):
            raise BadInput("after", f'must be the `next` of the answer before, is "{self.after}"')
        return int(self.after)

    def of(self, rows: Sequence[T], key: Callable[[T], Any]) -> tuple[list[T], str | None]:
        """Return the part of `rows`, and the key to go on after; None at the end.

        Raises `BadInput` where no row has the key `after` any more: what lies behind it cannot be known.
        """
        begin = 0
        if self.after is not None:
            keys = [str(key(row)) for row in rows]
            if self.after not in keys:
                raise BadInput("after", f'"{self.after}" is not in this list any more; list it from the first again')
            begin = keys.index(self.after) + 1
        end = len(rows) if self.limit is None else begin + self.limit
        found = list(rows[begin:end])
        return found, str(key(found[-1])) if found and end < len(rows) else None

    def answer(self, body: Any, following: str | int | None) -> Response:
        """Return `body` as JSON, with the Link to what follows where something does."""
        headers = {}
        if following is not None:
            limit = {} if self.limit is None else {"limit": self.limit}
            url = self.request.url.include_query_params(after=following, **limit)
            headers["Link"] = f'<{url.path}?{url.query}>; rel="next"'
        return Response(msgspec.json.encode(body), headers=headers, media_type="application/json")

    def whole(self, rows: Sequence[T], key: Callable[[T], Any], record: Callable[[T], Any]) -> Response:
        """Return the part of `rows` as an object: each as its record in `items`, and `next`."""
        found, following = self.of(rows, key)
        return self.answer({"items": [record(row) for row in found], "next": following}, following)

    def bare(self, rows: Sequence[T], key: Callable[[T], Any], record: Callable[[T], Any]) -> Response:
        """Return the part of `rows` as a bare list of records; only the Link says what follows."""
        found, following = self.of(rows, key)
        return self.answer([record(row) for row in found], following)


def parts_of(usual: int) -> Any:
    """Return what gives the part that a caller asks for, `usual` entries where the caller does not say how many."""

    def part(
        request: Request,
        after: After = None,
        limit: Annotated[int, Query(ge=1, le=MOST, description="how many at most")] = usual,
    ) -> ListPart:
        return ListPart(request, after, limit)

    return Depends(part)


def _all(request: Request, after: After = None, limit: AnyLimit = None) -> ListPart:
    return ListPart(request, after, limit)


Parts = Annotated[ListPart, parts_of(50)]  # lists that grow with the business
All = Annotated[ListPart, Depends(_all)]  # lists that stay short: all of it, unless the caller says how many
