"""One text message handed to the gateway: its number as the world dials it, and what became of the call."""

from __future__ import annotations

import json
import re
from urllib.parse import urlencode

from api import tables
from api.calls.guard import Allowed, GuardedCaller, OutsideFault
from api.messages.by_text.gateway import lines_of
from api.messages.mail import NotSent

_MOST_ANSWER = 100_000  # letters of an answer that are read
_LEAST, _MOST = 7, 15  # figures of a number with its country's, by ITU-T E.164 at most fifteen


def dialed(phone: str, prefix: str) -> str:
    """Return a number as +13195550201 for (319) 555-0201; empty where it is none that a text can go to.

    prefix: the country's number before those that say none, such as +44; their leading 0 is dropped. +1319 is North
    America's with the area of those that have seven figures.
    """
    number, _, extension = re.sub(r"(?i)\s*(ext\.?|x)\s*(?=[0-9])", "#", phone).partition("#")
    figures = re.sub(r"[^0-9]", "", number)
    if extension or re.search(r"[A-Za-z]", number):
        return ""
    if number.strip().startswith("+"):
        whole = figures
    elif figures.startswith("00"):
        whole = figures[2:]
    elif prefix.startswith("+1"):
        own = figures.removeprefix("1") if len(figures) == 11 else figures
        whole = f"1{prefix[2:]}{own}" if len(own) == 7 else f"1{own}"
    else:
        whole = prefix[1:] + figures.removeprefix("0")
    if whole.startswith("1") and len(whole) != 11:  # North America: three, three and four figures
        return ""
    return f"+{whole}" if _LEAST <= len(whole) <= _MOST else ""


def send_text(gateway: tables.TextGateway, phone: str, words: str, allowed: Allowed) -> None:
    """Hand a text to the gateway; raises `NotSent` with why. Taken by the gateway is sent: more is not told by it.

    allowed: which IP addresses may be called.
    """
    to = dialed(phone, gateway.prefix)
    if not to:
        raise NotSent(f'"{phone}" is no number that a text can go to.')
    said = {**lines_of(gateway.more), gateway.to_field: to, gateway.text_field: words}
    if gateway.form == "json":
        content, kind = json.dumps(said, ensure_ascii=False).encode(), "application/json"
    else:
        content, kind = urlencode(said).encode(), "application/x-www-form-urlencoded"
    headers = {"Content-Type": kind, "Accept": "application/json, */*;q=0.5"}
    if gateway.header:
        headers[gateway.header] = gateway.secret
    try:
        with GuardedCaller(allowed) as caller:
            answer = caller.ask("POST", gateway.address, headers, content, _MOST_ANSWER)
    except OutsideFault as fault:
        if fault.perhaps:
            raise NotSent(
                "The text gateway was lost while it had the message: it may have been sent. "
                "Ask before sending it again.",
                perhaps=True,
            ) from None
        raise NotSent(f"The text gateway could not be called: {fault}.") from None
    if not 200 <= answer.status < 300:
        told = " ".join(answer.body.decode("utf-8", "replace").split())[:200]
        if gateway.secret:
            told = told.replace(gateway.secret, "…")
        raise NotSent(f"The text gateway answered {answer.status}: {told}" if told else
                      f"The text gateway answered {answer.status}.")  # fmt: skip
