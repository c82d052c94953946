"""A service for chat and the like, by way of a library that knows many."""

from __future__ import annotations

import logging
from types import ModuleType

from checkwatch.run.senders.letter import Letter, Undelivered, one_line


def notify(letter: Letter, url: str) -> None:
    """Hands a letter to the service of a URL. Raises Undelivered.

    The URL may hold a secret, and so may what the library logs of it: neither is shown. No
    service is told the Message-ID, so that a doubled letter is seen twice.
    """
    library = _library()
    desk = library.Apprise()
    if not desk.add(url):
        raise Undelivered("service: its address is none that apprise knows", lasting=True)
    # The library tells a failure by a result that is false, also by none at all.
    if not desk.notify(body=letter.text, title=one_line(letter.subject), body_format="text"):
        raise Undelivered("service: did not take the message, or cannot be reached")


def _library() -> ModuleType:
    # Imported where a service is told: an extra, and no other way needs it.
    try:
        import apprise
    except ModuleNotFoundError:
        remedy = "install checkwatch with its extra `notify`: pip install 'checkwatch[notify]'"
        raise Undelivered(f"service: needs apprise; {remedy}", lasting=True) from None
    logging.getLogger("apprise").disabled = True
    return apprise
