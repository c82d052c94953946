"""The one door: a letter goes out by the way of its recipient, or it is said why not."""

from __future__ import annotations

from checkwatch.answers.notice.plan import Command, File, Mail, MailServer, Service, Way
from checkwatch.run.senders.command import run_with
from checkwatch.run.senders.file import add_to
from checkwatch.run.senders.letter import Letter, Undelivered
from checkwatch.run.senders.service import notify
from checkwatch.run.senders.smtp import mail


def hand_over(letter: Letter, way: Way, server: MailServer | None) -> None:
    """Returns when the other side has taken the letter, and raises Undelivered where it has not.

    No other exception comes out, whatever the other side does: who sends must be able to go on
    with the next letter. After Undelivered the other side may have the letter all the same, where
    its answer was lost; the Message-ID tells a doubled one.
    """
    try:
        _by_way(letter, way, server)
    except Undelivered:
        raise
    except Exception as error:
        # Its text may hold what is secret, its type does not.
        kind = type(error).__name__
        raise Undelivered(f"could not be handed over, for a reason unforeseen: {kind}") from None


def _by_way(letter: Letter, way: Way, server: MailServer | None) -> None:
    match way:
        case Mail():
            if server is None:
                raise Undelivered("mail: the notices file names no mail server", lasting=True)
            mail(letter, way.address, server)
        case File():
            add_to(letter, way.path)
        case Command():
            run_with(letter, way.words)
        case Service():
            notify(letter, way.url)
