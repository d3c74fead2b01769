"""A mail server on this machine that keeps what it takes, and may refuse."""

from __future__ import annotations

import contextlib
import email
import email.policy
import socket
from collections.abc import Iterator
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

from api.fields.addresses.mail import Server

SENDER = "Tallow Bend office <office@tallow.example>"


class Postbox:
    """A mail server's inside: keeps what it takes, and may refuse."""

    def __init__(self) -> None:
        self.letters: list[EmailMessage] = []
        self.refusal = ""

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        if self.refusal:
            return self.refusal
        letter = email.message_from_bytes(envelope.content, policy=email.policy.default)
        assert isinstance(letter, EmailMessage)
        self.letters.append(letter)
        return "250 taken"


@contextlib.contextmanager
def mail_server() -> Iterator[tuple[Postbox, Server]]:
    """Run a mail server that knows one password, and give its inside and how to reach it."""
    box = Postbox()

    def known(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
        right = isinstance(data, LoginPassword) and data.password == b"p@ss:word"
        return AuthResult(success=right, handled=False)

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    controller = Controller(box, hostname="127.0.0.1", port=port, authenticator=known, auth_require_tls=False)
    controller.start()
    try:
        yield box, Server("127.0.0.1", port, False, "office", "p@ss:word")
    finally:
        controller.stop()
