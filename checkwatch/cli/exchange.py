"""`import` and `export`: the logbook file, and the fleet and places files."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, nullcontext
from functools import partial
from pathlib import Path
from shutil import copyfileobj
from tempfile import TemporaryFile
from typing import Annotated, TextIO

import typer
from sqlalchemy import Connection

from checkwatch.cli.files import made, opened, refuse_to_overwrite
from checkwatch.cli.options import Db, asking
from checkwatch.cli.show import tell, tell_problems
from checkwatch.core.entry import Enrolled
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.exchange.write import write_fleet, write_logbook, write_places
from checkwatch.run import clock
from checkwatch.run.foresee import Progress
from checkwatch.run.importing import Emptied, Imported, import_log
from checkwatch.run.world import names_of
from checkwatch.store import chains, engine, read
from checkwatch.views.words import listed, plural


def import_file(
    ctx: typer.Context,
    file: Annotated[Path, typer.Argument(help="A logbook file (CSV).", metavar="FILE")],
    reject: Annotated[
        Path | None,
        typer.Option("--reject", help="Write bad rows here, and take the good ones."),
    ] = None,
    db: Db = None,
) -> None:
    """Read a logbook file into the book: all of it, or with one mistake nothing.

    With --reject the bad rows go to a file, each with its reason; a bad row takes with it every
    row of its machine, so that no pass comes in without what ended it. Then the exit code is 0
    also where rows were left out: what is printed says how many, and which machines. It is 2
    where not one row is in the book.
    """
    url = asking(ctx, db).db
    refuse_to_overwrite((engine.sqlite_path(url), file), (reject,))
    with (
        _source(file) as source,
        _rejects(reject) as rejects,
        _broken_off(url),
        _progress() as progress,
    ):
        found = import_log(
            url, clock.now(), lambda: nullcontext(source), file.name, rejects, progress
        )
    tell_problems(found.problems)
    _tell(found, reject)
    if found.refused and not found.written + found.skipped:
        raise typer.Exit(WrongUse.exit_code)


@contextmanager
def _source(file: Path) -> Iterator[TextIO]:
    """The file to read. What is no file (a pipe) is taken in first: it comes when it likes, and
    nobody else shall wait for it to write."""
    with opened(file) as stream:
        # Unlike Path.is_file, it says no to a name that no file can have.
        if os.path.isfile(file):
            yield stream
            return
        with TemporaryFile("w+", encoding="utf-8", errors="surrogateescape", newline="") as whole:
            try:
                copyfileobj(stream, whole)
                whole.seek(0)
            except OSError as error:
                what = f"cannot be taken in: {(error.strerror or str(error)).lower()}"
                remedy = "save it as a file, or name another folder in TMPDIR"
                raise CannotTell(Problem(str(file), what, remedy)) from None
            yield whole


@contextmanager
def _broken_off(url: str) -> Iterator[None]:
    """Says of what is broken off with Ctrl-C that nothing is written, where that is so."""
    with engine.reading(url) as conn:
        before = read.newest_seq(conn)
    try:
        yield
    except KeyboardInterrupt:
        with engine.reading(url) as conn:
            if read.newest_seq(conn) == before:
                tell("broken off: nothing is written")
        raise


@contextmanager
def _rejects(path: Path | None) -> Iterator[Emptied | None]:
    """The file for the rows that are left out, opened before the others are written.

    What it holds stays until there is something to write; where nothing comes of the import, no
    new file is left behind.
    """
    if path is None:
        yield None
        return
    is_new = not os.path.lexists(path)
    with made(path, "a") as stream:
        try:
            yield partial(_emptied, path, stream)
        except BaseException:
            if is_new:
                path.unlink(missing_ok=True)
            raise


def _emptied(path: Path, stream: TextIO) -> TextIO:
    # What is no file (a pipe) holds nothing.
    if path.is_file():
        stream.truncate(0)
    return stream


@contextmanager
def _progress() -> Iterator[Progress]:
    """Says on a terminal how far a long import is."""
    if not sys.stderr.isatty():
        yield lambda _step, _rows: None
        return

    def progress(step: str, rows: int) -> None:
        print(f"\r{rows:,} rows {step} ", end="", file=sys.stderr, flush=True)

    try:
        yield progress
    finally:
        print("\r" + " " * 40 + "\r", end="", file=sys.stderr)


def _tell(found: Imported, reject: Path | None) -> None:
    numbers = f" (entries {found.first} to {found.last})" if found.written > 1 else ""
    if found.written == 1:
        numbers = f" (entry {found.first})"
    print(f"{plural(found.written, 'row')} written{numbers}.")
    if found.flagged:
        print(f"{plural(found.flagged, 'row')} flagged: by somebody untrained or unknown.")
    if found.unsigned:
        print(f"{plural(found.unsigned, 'row')} unsigned: a PIN is asked, and no file brings one.")
    if found.skipped:
        print(f"{plural(found.skipped, 'row')} skipped: in the book already.")
    if reject is not None:
        print(f"{plural(found.refused, 'row')} refused, in {reject}.")
    if found.left_out:
        print(f"Left as they were: {listed(found.left_out)}.")


def export(
    ctx: typer.Context,
    out: Annotated[Path | None, typer.Option("--out", help="Else to standard output.")] = None,
    fleet: Annotated[Path | None, typer.Option("--fleet", help="Also the fleet file.")] = None,
    places: Annotated[Path | None, typer.Option("--places", help="Also the places file.")] = None,
    db: Db = None,
) -> None:
    """Write the logbook file, and if asked the fleet and places files, to be read in elsewhere.

    A book that is not believed, or that does not verify, is refused before a file is touched.
    """
    url = asking(ctx, db).db
    refuse_to_overwrite((engine.sqlite_path(url),), (out, fleet, places))
    with engine.reading(url) as conn:
        _refuse_unbelieved(conn)
        with closing(read.written(conn)) as entries:
            if out is None:
                write_logbook(entries, sys.stdout, partial(_ref, conn))
            else:
                with made(out) as stream:
                    write_logbook(entries, stream, partial(_ref, conn))
        known = names_of(conn).places
        if fleet is not None:
            machines = [s for s in read.stations(conn) if isinstance(s, Enrolled)]
            with made(fleet) as stream:
                write_fleet(machines, stream, known)
        if places is not None:
            with made(places) as stream:
                write_places(known.values(), stream)
    for path in filter(None, (out, fleet, places)):
        tell(f"{path} is written")


def _refuse_unbelieved(conn: Connection) -> None:
    """Raises CannotTell where not every entry is sure to stand as it was written: read in
    elsewhere, an altered one could not be told from the others any more."""
    broken = chains.verify(conn)
    found = [f"entry {broken.seq}: {broken.why}"] if broken else []
    if found or (found := [*read.doubts(conn, clock.now())]):
        what = f"it is not believed: {'; '.join(found)}"
        remedy = "put that right, or go on with a backup; nothing is written"
        raise CannotTell(Problem("the book", what, remedy))


def _ref(conn: Connection, number: int) -> str:
    entry = read.by_number(conn, number)
    return entry.ref if entry else ""


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command("import")(import_file)
    app.command()(export)
