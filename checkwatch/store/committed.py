"""Which entries stand by what this process did, for who must be told where an answer cannot be
printed: they stand whether anybody hears of it or not.

A process runs one command.
"""

from __future__ import annotations

from typing import Any

_KEY = "numbers of entries"
_stand: list[int] = []
_goes_on: list[bool] = []


def put(info: dict[str, Any], first: int, last: int) -> None:
    """Entries of these numbers are handed to the database; `info` is that of the connection."""
    info.setdefault(_KEY, []).extend((first, last))


def handed(info: dict[str, Any]) -> list[int]:
    """The numbers of what was handed over on a connection."""
    return list(info.get(_KEY, ()))


def stand(numbers: list[int]) -> None:
    """From now on these are on disk."""
    _stand.extend(numbers)


def go_on() -> None:
    """The command asks for more after an entry: where its answers end it is not done."""
    _goes_on.append(True)


def forget() -> None:
    """What stands until now is nobody's to hear of."""
    _stand.clear()


def is_done() -> bool:
    """Whether entries stand, and nothing but an answer was left to do."""
    return bool(_stand) and not _goes_on


def said() -> str:
    """What stands, as a sentence without its end; empty for nothing."""
    if not _stand:
        return ""
    first, last = min(_stand), max(_stand)
    if first == last:
        return f"entry {first} is written"
    return f"entries {first} to {last} are written"
