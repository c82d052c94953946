"""Mail to a real server. The numbers of answers are those of RFC 5321, part 4.2."""

from __future__ import annotations

import os
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from email.utils import parsedate_to_datetime
from pathlib import Path

import pytest

from checkwatch.answers.notice.plan import Mail, MailServer
from checkwatch.core.instant import from_datetime
from checkwatch.run.senders.letter import Letter, Undelivered
from checkwatch.run.senders.post import hand_over
from tests.build import t
from tests.post_office import DROP, HANG, HOST, SENDER, Office, certificate, post_office

TO = Mail("desk@saltmere.test")
LETTER = Letter(
    message_id="<5f3a.night@book.saltmere.test>",
    subject="3 owed – Theatre 4 ‘Süd’",
    text="Theatre 4 – AM-04 – Dichtheitsprüfung\n.\nfrom here on\n",
    html="<p>Theatre 4 – AM-04 – Dichtheitsprüfung</p>",
    date=t("05:30"),
    recipient="desk",
)


@pytest.fixture
def office() -> Iterator[Office]:
    with post_office() as office:
        yield office


def refused(server: MailServer | None, letter: Letter = LETTER, to: Mail = TO) -> Undelivered:
    """Why a letter was not taken, without the changing port."""
    with pytest.raises(Undelivered) as caught:
        hand_over(letter, to, server)
    error = caught.value
    if server:
        error.reason = error.reason.replace(f":{server.port}", ":PORT")
    assert error.reason.isprintable()
    assert "@" not in error.reason
    return error


def test_a_letter_arrives_as_it_was_written(office: Office) -> None:
    """RFC 2047 for the subject, RFC 5322 for the head, RFC 3834 for the mark of a program."""
    hand_over(LETTER, TO, office.server())
    (one,) = office.received
    assert (one.sender, one.recipients) == (SENDER, (TO.address,))
    head = one.message
    assert head["From"] == f"checkwatch <{SENDER}>"
    assert head["To"] == TO.address
    assert head["Subject"] == LETTER.subject
    assert head["Message-ID"] == LETTER.message_id
    assert from_datetime(parsedate_to_datetime(head["Date"])) == LETTER.date
    assert head["Auto-Submitted"] == "auto-generated"
    text, html = head.get_body(("plain",)), head.get_body(("html",))
    assert text is not None
    assert html is not None
    assert text.get_content() == LETTER.text
    assert html.get_content().strip() == LETTER.html


def test_a_letter_goes_over_any_wire(office: Office) -> None:
    """Seven bits, and lines of at most 998 (RFC 5322, part 2.1.1), though its own are longer."""
    hand_over(LETTER, TO, office.server())
    hand_over(LETTER._replace(text="ü" * 3_000, html="x" * 3_000), TO, office.server())
    short, one = office.received
    assert short.raw.isascii()
    assert one.raw.isascii()
    assert max(map(len, one.raw.splitlines())) <= 998
    assert one.message.get_body(("plain",)).get_content() == "ü" * 3_000 + "\r\n"  # type: ignore[union-attr]


def test_the_same_letter_twice_has_the_same_message_id(office: Office) -> None:
    for _ in range(2):
        hand_over(LETTER, TO, office.server())
    assert [one.message["Message-ID"] for one in office.received] == [LETTER.message_id] * 2


def test_a_line_end_in_a_subject_begins_no_new_line_of_the_head(office: Office) -> None:
    hand_over(LETTER._replace(subject="1 owed\r\nBcc: all@saltmere.test\x1b"), TO, office.server())
    (one,) = office.received
    assert one.message["Subject"] == "1 owed Bcc: all@saltmere.test"
    assert one.message["Bcc"] is None
    assert one.recipients == (TO.address,)


@pytest.mark.parametrize(
    "address",
    ["a@saltmere.test, b@saltmere.test", "a@saltmere.test\r\nBcc: b@saltmere.test", "", "a", "@"],
)
def test_what_is_not_one_address_is_none(office: Office, address: str) -> None:
    error = refused(office.server(), to=Mail(address))
    assert error.lasting
    assert error.reason == "mail: the sender or the recipient's address is not one address"
    assert office.asked == []


def test_a_letter_without_a_server_says_so() -> None:
    error = refused(None)
    assert (error.lasting, error.reason) == (True, "mail: the notices file names no mail server")


@pytest.mark.parametrize(
    ("step", "answer", "reason", "lasting"),
    [
        (
            "RCPT",
            "550 5.1.1 <desk@saltmere.test>: unknown, see https://saltmere.test/550",
            "refused the address, it says 550 5.1.1 … unknown, see …",
            True,
        ),
        ("RCPT", "450 4.2.0 later", "refused the address, it says 450 4.2.0 later", False),
        ("MAIL", "553 5.7.1 not you", "refused the sender, it says 553 5.7.1 not you", True),
        ("MAIL", "421 4.3.2 closing", "refused the sender, it says 421 4.3.2 closing", False),
        ("DATA", "452 4.3.1 full", "refused the message, it says 452 4.3.1 full", False),
        ("DATA", "554 5.6.0 no\x1b[31m", "refused the message, it says 554 5.6.0 no [31m", True),
        ("DATA", DROP, "broke the connection off", False),
        ("RCPT", DROP, "broke the connection off", False),
        ("DATA", HANG, "gave no answer within 1 s", False),
        ("MAIL", HANG, "gave no answer within 1 s", False),
    ],
)
def test_a_server_that_does_not_take_a_letter_is_quoted_and_the_next_try_goes_through(
    office: Office, step: str, answer: str, reason: str, lasting: bool
) -> None:
    office.behave(step, answer)
    error = refused(office.server(timeout=1))
    assert (error.reason, error.lasting) == (f"mail server {HOST}:PORT: {reason}", lasting)
    assert office.received == []
    hand_over(LETTER, TO, office.server())
    assert len(office.received) == 1


@pytest.mark.parametrize("answer", [DROP, HANG, "421 4.3.2 closing"])
def test_what_goes_wrong_after_the_message_was_taken_is_no_matter(
    office: Office, answer: str
) -> None:
    """RFC 5321, part 4.2.5: with the 250 the server answers for it."""
    office.behave("QUIT", answer)
    hand_over(LETTER, TO, office.server(timeout=1))
    assert len(office.received) == 1


def test_a_server_that_is_not_there() -> None:
    with socket.create_server((HOST, 0)) as taken:
        port = taken.getsockname()[1]
    error = refused(MailServer(HOST, port, SENDER, "none", timeout=1))
    expected = f"mail server {HOST}:PORT: nothing takes connections there"
    assert (error.reason, error.lasting) == (expected, False)


def test_a_name_that_nobody_knows() -> None:
    # RFC 2606, part 2: no such name is ever given out.
    error = refused(MailServer("mail.invalid", 25, SENDER, "none", timeout=1))
    assert error.reason.startswith("mail server mail.invalid:PORT: its name is not known here")
    assert not error.lasting


@contextmanager
def strange(speak: Callable[[socket.socket], None]) -> Iterator[MailServer]:
    """A server that has no manners: it says what it is made to, to one client."""
    with socket.create_server((HOST, 0)) as listening:

        def serve() -> None:
            client, _ = listening.accept()
            with client:
                try:
                    speak(client)
                except OSError:
                    return

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield MailServer(HOST, listening.getsockname()[1], SENDER, "none", timeout=1)
        thread.join(10)


def trickle(client: socket.socket) -> None:
    for _ in range(100):
        client.sendall(b"2")
        time.sleep(0.1)


@pytest.mark.parametrize(
    ("speak", "reason", "lasting"),
    [
        (lambda client: client.recv(1), "gave no answer within 1 s", False),
        (trickle, "gave no answer within 1 s", False),
        (lambda _: None, "broke the connection off", False),
        (
            lambda client: client.sendall(b"554 no service\r\n"),
            "refused the connection, it says 554 no service",
            True,
        ),
        (
            lambda client: client.sendall(b"421 busy\r\n"),
            "refused the connection, it says 421 busy",
            False,
        ),
        (
            lambda client: client.sendall(b"\xff\x00 hello\r\n" * 3),
            "answers like no mail server",
            False,
        ),
    ],
    ids=["silent", "trickles", "closes", "no-service", "busy", "no-mail-server"],
)
def test_a_server_without_manners_holds_nobody_up(
    speak: Callable[[socket.socket], None], reason: str, lasting: bool
) -> None:
    began = time.monotonic()
    with strange(speak) as server:
        error = refused(server)
        assert time.monotonic() - began < 5
    assert error.reason.removeprefix(f"mail server {HOST}:PORT: ") == reason
    assert error.lasting is lasting


# Encryption and passwords


@pytest.mark.parametrize(
    ("speak", "reason"),
    [
        (lambda client: client.recv(1) and time.sleep(2), "gave no answer within 1 s"),
        (lambda client: client.recv(1_000), "broke the connection off"),
    ],
    ids=["silent", "closes"],
)
def test_a_server_that_agrees_on_no_encryption_in_time(
    speak: Callable[[socket.socket], None], reason: str
) -> None:
    with strange(speak) as server:
        error = refused(replace(server, security="tls"))
    assert (error.reason, error.lasting) == (f"mail server {HOST}:PORT: {reason}", False)


@pytest.mark.parametrize("answer", [HANG, DROP, "450 4.2.0 later"])
def test_encryption_changes_nothing_of_how_a_bad_server_is_met(
    believed: ssl.SSLContext, answer: str
) -> None:
    with post_office(tls=believed) as office:
        office.behave("DATA", answer)
        assert not refused(office.server(security="tls", timeout=1)).lasting
        hand_over(LETTER, TO, office.server(security="tls"))
        assert len(office.received) == 1


@pytest.fixture
def believed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> ssl.SSLContext:
    """A certificate that this computer believes."""
    context, authority = certificate()
    (tmp_path / "authority.pem").write_bytes(authority)
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
    return context


@pytest.fixture
def password_file(tmp_path: Path) -> Path:
    path = tmp_path / "password"
    path.write_text("se cret;1\n")
    path.chmod(0o640)
    return path


@pytest.mark.parametrize("security", ["tls", "starttls"])
def test_a_letter_goes_encrypted_and_with_the_password(
    believed: ssl.SSLContext, password_file: Path, security: str
) -> None:
    with post_office(**{security: believed}, users={"book": "se cret;1"}) as office:  # type: ignore[arg-type]
        more = {"security": security, "user": "book", "password_file": str(password_file)}
        hand_over(LETTER, TO, office.server(**more))
        assert [one.recipients for one in office.received] == [(TO.address,)]
        # The next password counts at once.
        office.users["book"] = "other"
        error = refused(office.server(**more))
        assert error.lasting
        assert error.reason == (
            f"mail server {HOST}:PORT: refused the user name or the password, it says 535"
        )
        password_file.write_text("other")
        hand_over(LETTER, TO, office.server(**more))
        assert len(office.received) == 2


@pytest.mark.parametrize("security", ["tls", "starttls"])
@pytest.mark.parametrize("name", ["", "mail.saltmere.test"])
def test_a_certificate_that_is_not_believed_or_names_another_server_gets_no_letter(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, security: str, name: str
) -> None:
    context, authority = certificate(name or HOST)
    if name:
        (tmp_path / "authority.pem").write_bytes(authority)
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
    with post_office(**{security: context}) as office:  # type: ignore[arg-type]
        error = refused(office.server(security=security))
        assert office.received == []
    assert error.lasting
    assert "its certificate is not believed: " in error.reason


def test_a_server_without_encryption_gets_nothing_where_it_is_asked_for(office: Office) -> None:
    """A server in the middle that hides STARTTLS learns neither letter nor password."""
    error = refused(office.server(security="starttls"))
    assert error.lasting
    assert "does not offer what is needed: STARTTLS" in error.reason
    error = refused(office.server(security="tls"))
    assert error.lasting
    assert error.reason.endswith("no encryption could be agreed on; look at its port and security")
    assert "MAIL" not in office.asked


def test_a_password_is_not_sent_in_clear(office: Office, password_file: Path) -> None:
    error = refused(office.server(user="book", password_file=str(password_file)))
    assert error.lasting
    assert "no password is sent without encryption" in error.reason
    assert office.asked == []


def test_a_server_that_takes_no_passwords(believed: ssl.SSLContext, password_file: Path) -> None:
    with post_office(starttls=believed) as office:
        office.behave("EHLO", "250-mail\r\n250-STARTTLS\r\n250 HELP", "250 mail")
        more = {"security": "starttls", "user": "book", "password_file": str(password_file)}
        error = refused(office.server(**more))
    assert error.lasting
    assert "does not offer what is needed: SMTP AUTH" in error.reason


def test_a_password_with_other_letters_is_not_shown(
    believed: ssl.SSLContext, password_file: Path
) -> None:
    password_file.write_text("geheimnüs")
    with post_office(tls=believed, users={"book": "x"}) as office:
        more = {"security": "tls", "user": "book", "password_file": str(password_file)}
        error = refused(office.server(**more))
    assert error.lasting
    assert error.reason == "mail: the user name or the password has letters that are not ASCII"


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (Path.unlink, "No such file or directory"),
        (lambda path: path.write_text("\n"), "is empty"),
        (lambda path: path.write_bytes(b"\xff\xfe"), "is no text"),
        (
            lambda path: path.chmod(0o644),
            "everybody on this computer can read or change it; chmod o-rw it",
        ),
    ],
    ids=["missing", "empty", "no-text", "open-to-all"],
)
def test_a_password_file_that_cannot_be_used(
    office: Office, password_file: Path, spoil: Callable[[Path], object], reason: str
) -> None:
    if os.name != "posix" and "chmod" in reason:
        pytest.skip("no such modes here")
    spoil(password_file)
    more = {"security": "tls", "user": "book", "password_file": str(password_file)}
    error = refused(office.server(**more))
    assert (error.reason, error.lasting) == (f"password file {password_file}: {reason}", True)
    assert office.asked == []
