"""A line of the book and its hash: what docs/reference/book-format.md writes down for others.

This file knows no database, so that a reader with nothing but the standard library can use it.
"""

from hashlib import sha256
from typing import NamedTuple

#: The first field of what is hashed: another way of hashing would carry another name.
_SCHEME = b"18:checkwatch entry 1,"

#: Stands for the hash of the line before a machine's first.
NO_HASH = b""


class Line(NamedTuple):
    """One row of the table `entry`, column by column.

    `position` counts the lines of one machine from 1; instants are microseconds of UTC. `form`
    tells a result and a happening of the same code apart.
    """

    seq: int
    machine: str
    position: int
    form: str
    what: str
    at: int
    recorded: int
    by: str
    note: str
    ref: str
    payload: str
    prev_hash: bytes
    hash: bytes = NO_HASH

    @property
    def whole(self) -> bool:
        """Whether the line still has the hash that it was written with."""
        return self.hash == hash_of(self)


def hash_of(line: Line) -> bytes:
    """SHA-256 over every field of the line but its own hash, the previous hash first.

    Each field is preceded by its length in bytes, so that no two lines are hashed alike.
    """
    head = b"%b%d:%b," % (_SCHEME, len(line.prev_hash), line.prev_hash)
    number, machine, position, form, what, at, recorded, by, note, ref, payload = line[:-2]
    n, p, a, r = str(number), str(position), str(at), str(recorded)
    # Written out, which is faster than a loop: every entry that is read or written comes here.
    text = (
        f"{len(n)}:{n},{len(machine)}:{machine},{len(p)}:{p},{len(form)}:{form},"
        f"{len(what)}:{what},{len(a)}:{a},{len(r)}:{r},{len(by)}:{by},{len(note)}:{note},"
        f"{len(ref)}:{ref},{len(payload)}:{payload},"
    )
    if text.isascii():
        return sha256(head + text.encode()).digest()
    encoded = [str(field).encode("utf-8", "surrogatepass") for field in line[:-2]]
    return sha256(head + b"".join(b"%d:%b," % (len(data), data) for data in encoded)).digest()


def sealed(line: Line) -> Line:
    """The line with its hash."""
    return Line(*line[:-1], hash_of(line))
