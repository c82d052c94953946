"""Keeping the book: is it as it was written, a seal to keep elsewhere, a backup."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from checkwatch.core.instant import SECOND, Instant
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.store import backup as copies
from checkwatch.store import chains, engine, health, migrate, read, seals
from checkwatch.store.chains import Broken
from checkwatch.store.seals import Seal


class Looked(NamedTuple):
    """What a walk through a book found.

    `newest` is its highest number; `against` holds each seal with how the book differs from it,
    empty where it does not.
    """

    newest: int
    broken: Broken | None
    doubts: tuple[str, ...]
    against: tuple[tuple[Seal, str], ...] = ()

    @property
    def reasons(self) -> list[str]:
        """Why the book is not taken for what was written; empty if it is."""
        found = [f"entry {self.broken.seq}: {self.broken.why}"] if self.broken else []
        return [*found, *self.doubts, *filter(None, (differs for _, differs in self.against))]


def look(url: str, now: Instant, against: Sequence[Seal] = ()) -> Looked:
    """Walks the chains of a book and, if asked, holds it against seals taken earlier.

    Raises CannotTell where there is no book of this program's version.
    """
    given = sorted(against, key=lambda one: (one.newest, one.taken))
    with engine.reading(url) as conn:
        is_now = seals.seals(conn, ((one.newest, one.taken) for one in given)) if given else ()
        broken = chains.verify(conn)
        # Chains that end as they did say nothing of entries that do not lead to their ends.
        inside = "its chains end as they were sealed, but not all before is as written"
        differing = [
            (one, seals.differs(one, it) or (inside if broken else ""))
            for one, it in zip(given, is_now, strict=True)
        ]
        return Looked(read.newest_seq(conn), broken, read.doubts(conn, now), tuple(differing))


def seal(url: str, now: Instant) -> Seal:
    """The seal of a book as it is now; CannotTell for one that does not verify or is not believed:
    a seal would make good what is wrong with it."""
    newest = seals.settled(url)
    if reasons := look(url, now).reasons:
        remedy = "nothing is sealed; see `checkwatch book check`"
        raise CannotTell(Problem("the book", f"it is not believed: {'; '.join(reasons)}", remedy))
    with engine.reading(url) as conn:
        (found,) = seals.seals(conn, [(newest, whole(now))])
    return found


def whole(instant: Instant) -> Instant:
    """The whole second in which an instant lies: what is printed to be copied has no fraction."""
    return Instant(instant // SECOND * SECOND)


def backup(url: str, target: Path, now: Instant) -> Seal | None:
    """Copies a book in SQLite into a new file, whoever is using it, and verifies the copy.

    Returns the seal of the copy; None for a book of an older version, whose entries this program
    does not walk. Raises WrongUse where the file is there already and for a book in PostgreSQL,
    CannotTell where the copy cannot be made or does not verify: then no file is left.
    """
    path = engine.sqlite_path(url)
    if path is None:
        what = "lies in PostgreSQL, which makes its own backups"
        raise WrongUse(Problem(engine.shown(url), what, "use pg_dump: docs/operating/backup.md"))
    if target.exists():
        raise copies.taken(target)
    older = migrate.schema_state(url) == "older"
    if not older:
        with engine.reading(url):
            pass  # Where there is no book, or a newer one, it says so.
    with copies.beside(target) as part:
        copies.copy(path, part, engine.shown(url), "DELETE")
        refuse_unsound(part, engine.shown(url), older)
        found = None if older else seal(str(part), now)
        copies.same_rights(part, path)
        copies.put(part, target)
    return found


def refuse_unsound(part: Path, where: str, older: bool = False) -> None:
    """Raises CannotTell for a copy that is damaged, or whose entries are not as they were written.

    What the clock says is of no concern here. The entries of an older version are not walked.
    """
    try:
        with engine.looking(str(part)) as conn:
            found = list(health.damage(conn))
            newest = read.newest_recorded(conn) or Instant(0)
        found = found or ([] if older else look(str(part), newest).reasons)
    except CannotTell as refusal:
        found = [problem.what for problem in refusal.problems]
    if found:
        what = f"its copy cannot be trusted: {'; '.join(found)}"
        raise CannotTell(Problem(where, what, "keep the file, and go on with an older backup"))
