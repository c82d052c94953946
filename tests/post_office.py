"""A mail server to test with: a real one (aiosmtpd, RFC 5321), which keeps what it takes and can be
told how to behave.

    with post_office() as office:
        office.behave("RCPT", "450 4.2.0 later")     # once, then it takes the letter
        ...
        office.received[0].message["Subject"]
"""

from __future__ import annotations

import asyncio
import ssl
import threading
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any, NamedTuple, cast

import trustme
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from checkwatch.answers.notice.plan import MailServer

HOST = "127.0.0.1"
SENDER = "book@saltmere.test"

#: How the server may behave instead of an answer: the connection is cut, or nothing comes.
DROP, HANG = "drop", "hang"


class Received(NamedTuple):
    """A letter that the server answers for."""

    sender: str
    recipients: tuple[str, ...]
    message: EmailMessage
    raw: bytes


class Office:
    """What the server has received, and how it is to behave. Steps: EHLO MAIL RCPT DATA
    TAKEN QUIT; an answer to DATA is the one after the whole message, which is not taken then; at
    TAKEN it is."""

    def __init__(self, users: dict[str, str]) -> None:
        self.received: list[Received] = []
        self.asked: list[str] = []
        self.users, self.port = users, 0
        self._answers: defaultdict[str, list[str]] = defaultdict(list)
        self._always: dict[str, str] = {}

    def behave(self, step: str, *answers: str, always: bool = False) -> None:
        """The answers to the next times this step comes, one each; or one for all times."""
        if always:
            (self._always[step],) = answers
        else:
            self._answers[step].extend(answers)

    def server(self, **more: Any) -> MailServer:
        """This server as a notices file names it: without encryption, not patient."""
        usual: dict[str, Any] = {"security": "none", "timeout": 5}
        return MailServer(HOST, self.port, SENDER, **(usual | more))

    async def answer(self, step: str, server: SMTP) -> str:
        self.asked.append(step)
        queue = self._answers[step]
        answer = queue.pop(0) if queue else self._always.get(step, "")
        if answer == HANG:
            await asyncio.sleep(3600)
        if answer == DROP:
            cut(server)
            await asyncio.sleep(3600)
        return answer

    # The names and arguments of these are the library's.

    async def handle_EHLO(  # noqa: N802
        self, server: SMTP, session: Session, _: Envelope, name: str, answers: list[str]
    ) -> list[str]:
        session.host_name = name
        answer = await self.answer("EHLO", server)
        return answer.splitlines() or answers

    async def handle_MAIL(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        answer = await self.answer("MAIL", server)
        if self.users and not session.authenticated:
            return "530 5.7.0 who are you?"
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return answer or "250 OK"

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, _: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if answer := await self.answer("RCPT", server):
            return answer
        envelope.rcpt_tos.append(address)
        envelope.rcpt_options.extend(options)
        return "250 OK"

    async def handle_DATA(  # noqa: N802
        self, server: SMTP, _: Session, envelope: Envelope
    ) -> str:
        if answer := await self.answer("DATA", server):
            return answer
        raw = cast(bytes, envelope.original_content)
        lines = raw.replace(b"\r\n", b"\n")
        message = message_from_bytes(lines, policy=default)
        to = tuple(envelope.rcpt_tos)
        self.received.append(Received(str(envelope.mail_from), to, message, raw))
        return await self.answer("TAKEN", server) or "250 OK"

    async def handle_QUIT(  # noqa: N802
        self, server: SMTP, _: Session, __: Envelope
    ) -> str:
        return await self.answer("QUIT", server) or "221 Bye"

    def authenticate(self, *arguments: Any) -> AuthResult:
        given = arguments[-1]
        assert isinstance(given, LoginPassword)
        password = self.users.get(given.login.decode())
        return AuthResult(success=password == given.password.decode(), handled=False)


def cut(session: SMTP) -> None:
    """Ends a connection without a word."""
    if session.transport is not None:
        cast(asyncio.Transport, session.transport).abort()


def certificate(name: str = HOST) -> tuple[ssl.SSLContext, bytes]:
    """A server's certificate for a name, and that of who stands for it: with SSL_CERT_FILE naming
    a file with the latter, a computer believes the former."""
    authority = trustme.CA()
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert(name).configure_cert(context)
    return context, authority.cert_pem.bytes()


@contextmanager
def post_office(
    *,
    tls: ssl.SSLContext | None = None,
    starttls: ssl.SSLContext | None = None,
    users: dict[str, str] | None = None,
    port: int = 0,
) -> Iterator[Office]:
    """A running server: inside TLS from the first byte, with STARTTLS, or without encryption; with
    users it takes letters of those only. A port of its own choice, unless one is named."""
    office = Office(users or {})
    loop = asyncio.new_event_loop()
    sessions: list[SMTP] = []

    def session() -> SMTP:
        one = SMTP(
            office,
            hostname="mail.saltmere.test",
            loop=loop,
            tls_context=starttls,
            require_starttls=starttls is not None,
            auth_require_tls=tls is None,
            authenticator=office.authenticate,
            timeout=60,
        )
        sessions.append(one)
        return one

    listening = loop.run_until_complete(loop.create_server(session, HOST, port, ssl=tls))
    office.port = listening.sockets[0].getsockname()[1]
    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    try:
        yield office
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        listening.close()
        loop.run_until_complete(_end(sessions))
        loop.close()


async def _end(sessions: list[SMTP]) -> None:
    """Ends what still hangs, so that nothing is left of the server."""
    for one in sessions:
        cut(one)
    tasks = asyncio.all_tasks() - {asyncio.current_task()}
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    await asyncio.sleep(0)
