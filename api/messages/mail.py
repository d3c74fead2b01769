"""Sending e-mail by SMTP (RFC 5321): one message with its calendar entry, or a sentence on why it was not sent.

The address of the server holds a password: it is read here alone, and stands in no sentence and no log.
"""

from __future__ import annotations

import contextlib
import datetime
import smtplib
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, formataddr, parseaddr

from api.fields.addresses.mail import Server

TIMEOUT_S = 20


class NotSent(Exception):
    """The message was not taken by the server; the words say why. `perhaps`: nobody can know whether it was."""

    def __init__(self, words: str, *, perhaps: bool = False) -> None:
        super().__init__(words)
        self.words, self.perhaps = words, perhaps


_LINE = 250  # letters of a header's line; 998 may be, and encoded words no more than the usual 78


@dataclass(frozen=True)
class Letter:
    """What is sent: `calendar` is an iCalendar object with its `method`, empty for none; `number` is this letter's.

    `papers` are PDF files sent with it, by their names.
    """

    to_name: str
    to_email: str
    subject: str
    body: str
    calendar: str
    method: str
    number: str
    at: datetime.datetime
    papers: Mapping[str, bytes] = field(default_factory=dict)


def send(server: Server, sender: str, letter: Letter) -> None:
    """Hand `letter` to the server; raises `NotSent`."""
    message = compose(sender, letter)
    handed, smtp = False, None
    try:
        smtp = _connected(server)
        if server.user:
            smtp.login(server.user, server.password)
        handed = True
        smtp.send_message(message)
    except smtplib.SMTPAuthenticationError:
        raise NotSent("The mail server did not take user and password.") from None
    except smtplib.SMTPRecipientsRefused:
        raise NotSent(f"The mail server does not take mail for {letter.to_email}.") from None
    except smtplib.SMTPSenderRefused:
        raise NotSent("The mail server does not take mail from this sender.") from None
    except smtplib.SMTPResponseException as fault:
        raise NotSent(f"The mail server answered {fault.smtp_code}: {_words(fault.smtp_error)}") from None
    except smtplib.SMTPServerDisconnected:
        raise _lost(handed) from None
    except smtplib.SMTPException:
        raise NotSent("The mail server cannot be used as it is set up: ask whoever looks after this machine.") from None
    except ssl.SSLError:
        raise NotSent("The mail server's encryption could not be trusted.") from None
    except TimeoutError:
        raise _lost(handed) from None
    except OSError:
        raise NotSent(f"The mail server {server.host} could not be reached.") from None
    finally:
        if smtp is not None:
            with contextlib.suppress(smtplib.SMTPException, OSError):  # however the server takes its leave
                smtp.quit()
            smtp.close()


def compose(sender: str, letter: Letter) -> EmailMessage:
    """Return the message as it is sent; the same letter has the same Message-ID, however often it is tried."""
    # A long plain subject stays on one line: folded, its first line would hold nothing, which some servers take amiss.
    plain = (letter.subject + letter.to_name).isascii()
    message = EmailMessage(policy=SMTP.clone(max_line_length=_LINE) if plain else SMTP)
    message["From"] = sender
    message["To"] = formataddr((" ".join(letter.to_name.split()), letter.to_email))
    message["Subject"] = " ".join(letter.subject.split())
    message["Date"] = format_datetime(letter.at)
    message["Message-ID"] = f"<{letter.number}@{parseaddr(sender)[1].rpartition('@')[2]}>"
    message.set_content(letter.body)
    if letter.calendar:
        message.add_attachment(
            letter.calendar.encode(), maintype="text", subtype="calendar", filename="visit.ics",
            params={"method": letter.method, "charset": "utf-8", "component": "vevent"},
        )  # fmt: skip
    for name, data in letter.papers.items():
        message.add_attachment(data, maintype="application", subtype="pdf", filename=name)
    return message


def _connected(server: Server) -> smtplib.SMTP:
    context = ssl.create_default_context()
    if server.tls:
        return smtplib.SMTP_SSL(server.host, server.port, timeout=TIMEOUT_S, context=context)
    smtp = smtplib.SMTP(server.host, server.port, timeout=TIMEOUT_S)
    smtp.ehlo()
    if smtp.has_extn("starttls"):
        smtp.starttls(context=context)
        smtp.ehlo()
    elif server.user and not server.here:
        smtp.close()
        raise NotSent("The mail server offers no encryption, and the password is not sent in the open.")
    return smtp


def _lost(handed: bool) -> NotSent:
    if handed:
        return NotSent(
            "The mail server was lost while it had the message: it may have been sent. Ask before sending it again.",
            perhaps=True,
        )
    return NotSent("The mail server did not answer in time.")


def _words(answer: bytes | str) -> str:
    text = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
    return " ".join(text.split())[:200]
