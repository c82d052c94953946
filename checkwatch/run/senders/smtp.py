"""Mail: handed to one server, which then answers for it (RFC 5321, part 4.2.5)."""

from __future__ import annotations

import os
import smtplib
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from hashlib import sha256
from pathlib import Path

from checkwatch.answers.notice.plan import MailServer
from checkwatch.core.instant import to_datetime
from checkwatch.run.senders.letter import Letter, Undelivered, one_line, told

#: Any server takes seven bits; eight only where it says so (RFC 6152).
_POLICY = SMTP.clone(cte_type="7bit")

#: What an answer means that is no yes, by the step at which it came.
_REFUSED: tuple[tuple[type[smtplib.SMTPResponseException], str], ...] = (
    (smtplib.SMTPConnectError, "refused the connection"),
    (smtplib.SMTPHeloError, "refused the connection"),
    (smtplib.SMTPSenderRefused, "refused the sender"),
    (smtplib.SMTPDataError, "refused the message"),
    (smtplib.SMTPResponseException, "refused"),
)


class _NoAnswer(smtplib.SMTPServerDisconnected):
    """The server is connected and says nothing, or too slowly."""


class _Hurried(smtplib.SMTP):
    """Waits so long for each answer as a whole: the timeout of a socket begins anew with each
    byte, so that a server which trickles would hold us for ever."""

    def getreply(self) -> tuple[int, bytes]:
        seconds, began = float(self.timeout), time.monotonic()
        hang_up = threading.Timer(seconds, self._hang_up)
        hang_up.daemon = True
        hang_up.start()
        try:
            answer = super().getreply()
        except smtplib.SMTPServerDisconnected:
            if time.monotonic() - began >= seconds:
                raise _NoAnswer from None
            raise
        finally:
            hang_up.cancel()
        if time.monotonic() - began >= seconds:
            # The part of an answer that came looks like a whole one.
            self.close()
            raise _NoAnswer
        return answer

    def _hang_up(self) -> None:
        with suppress(OSError, TypeError):  # closed already, or gone
            # Of the bare socket: one with TLS would forget its keys while another thread reads.
            socket.socket.shutdown(self.sock, socket.SHUT_RDWR)  # type: ignore[arg-type]


class _HurriedInTls(_Hurried, smtplib.SMTP_SSL):
    """The same inside TLS from the first byte (RFC 8314, part 3.3)."""


def mail(letter: Letter, address: str, server: MailServer) -> None:
    """Hands a letter to the mail server. Raises Undelivered.

    Once the server has said 250 to the message it has taken it, whatever goes wrong afterwards
    (RFC 5321, part 4.2.5).
    """
    where = f"mail server {one_line(server.host)}:{server.port}"
    message = _message(letter, address, server)
    password = _password(server) if server.user else ""
    try:
        with _connected(server) as connection:
            if server.user:
                _log_in(connection, server.user, password)
            connection.send_message(message, server.sender, [address])
    except OSError as error:  # all errors of smtplib are of this kind too
        reason, lasting = _why(error, server)
        raise Undelivered(f"{where}: {reason}", lasting=lasting) from None


@contextmanager
def _connected(server: MailServer) -> Iterator[smtplib.SMTP]:
    # Certificate and name of the server are looked at, against those the computer believes.
    context = ssl.create_default_context()
    connection: smtplib.SMTP
    if server.security == "tls":
        connection = _HurriedInTls(
            server.host, server.port, timeout=server.timeout, context=context
        )
    else:
        connection = _Hurried(server.host, server.port, timeout=server.timeout)
    try:
        if server.security == "starttls":
            connection.starttls(context=context)
        yield connection
    finally:
        with suppress(OSError):
            connection.quit()
        connection.close()


def _log_in(connection: smtplib.SMTP, user: str, password: str) -> None:
    try:
        connection.login(user, password)
    except UnicodeError:
        # The library sends ASCII; the error's own text would show the password.
        what = "mail: the user name or the password has letters that are not ASCII"
        raise Undelivered(what, lasting=True) from None


def _message(letter: Letter, address: str, server: MailServer) -> EmailMessage:
    """As text and as HTML, marked as written by a program (RFC 3834, part 5), so that no program
    answers it."""
    message = EmailMessage(policy=_POLICY)
    try:
        message["From"] = Address("checkwatch", addr_spec=server.sender)
        message["To"] = Address(addr_spec=address)
    except (ValueError, IndexError, MessageError):
        what = "mail: the sender or the recipient's address is not one address"
        raise Undelivered(what, lasting=True) from None
    message["Subject"] = one_line(letter.subject)
    message["Date"] = to_datetime(letter.date)
    message["Message-ID"] = one_line(letter.message_id)
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(letter.text)
    if letter.html:
        message.add_alternative(letter.html, subtype="html")
        # The library's own is another one each time: a doubled letter is the same to the letter.
        message.set_boundary(f"=_{sha256(letter.message_id.encode()).hexdigest()[:32]}")
    return message


def _password(server: MailServer) -> str:
    """The password, read anew each time, so that a changed one counts at once.

    It is not sent without encryption, and not taken from a file that everybody on this computer
    can read or write. A group may read it: so services are usually given their secrets.
    """
    if server.security == "none":
        what = "mail: no password is sent without encryption; set security to starttls or tls"
        raise Undelivered(what, lasting=True)
    where = f"password file {one_line(server.password_file)}"
    try:
        with Path(server.password_file).open(encoding="utf-8") as file:
            if os.name == "posix" and os.fstat(file.fileno()).st_mode & 0o006:
                what = f"{where}: everybody on this computer can read or change it; chmod o-rw it"
                raise Undelivered(what, lasting=True)
            password = file.read(10_000).rstrip("\r\n")
    except OSError as error:
        raise Undelivered(f"{where}: {error.strerror}", lasting=True) from None
    except UnicodeError:
        raise Undelivered(f"{where}: is no text", lasting=True) from None
    if not password:
        raise Undelivered(f"{where}: is empty", lasting=True)
    return password


def _why(error: OSError, server: MailServer) -> tuple[str, bool]:
    """What a coordinator is told, and whether trying again cannot help."""
    match error:
        case smtplib.SMTPRecipientsRefused():
            code, said = next(iter(error.recipients.values()))
            return _answered("refused the address", code, said)
        case smtplib.SMTPAuthenticationError():
            # Without its words: they may repeat what was sent.
            return _answered("refused the user name or the password", error.smtp_code, b"")
        case smtplib.SMTPResponseException():
            step = next(words for kind, words in _REFUSED if isinstance(error, kind))
            return _answered(step, error.smtp_code, error.smtp_error)
        case smtplib.SMTPNotSupportedError():
            return f"does not offer what is needed: {told(str(error))}", True
        case _NoAnswer():
            return f"gave no answer within {server.timeout} s", False
        case smtplib.SMTPServerDisconnected():
            return "broke the connection off", False
        case smtplib.SMTPException():
            return "offers no way to log in that is known here", True
    return _unreached(error, server)


def _unreached(error: OSError, server: MailServer) -> tuple[str, bool]:
    match error:
        case ssl.SSLCertVerificationError():
            return f"its certificate is not believed: {told(error.verify_message)}", True
        case ssl.SSLEOFError() | ConnectionResetError() | BrokenPipeError():
            return "broke the connection off", False
        case ssl.SSLError():
            return "no encryption could be agreed on; look at its port and security", True
        case TimeoutError():
            return f"gave no answer within {server.timeout} s", False
        case ConnectionRefusedError():
            return "nothing takes connections there", False
        case socket.gaierror():
            return "its name is not known here, or names cannot be looked up", False
    return f"cannot be reached: {told(error.strerror or type(error).__name__)}", False


def _answered(step: str, code: int, said: bytes | str) -> tuple[str, bool]:
    """The server's own answer: 5yz is for good, 4yz for now (RFC 5321, part 4.2.1)."""
    if code < 200:  # the library's own number for what begins with none
        return "answers like no mail server", False
    text = said if isinstance(said, str) else said.decode("utf-8", "replace")
    return f"{step}, it says {code} {told(text)}".rstrip(), 500 <= code <= 599
