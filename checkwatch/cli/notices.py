"""Telling people: one kind of notice now, the watcher that tells all, and that somebody heard."""

from __future__ import annotations

import logging
import sys
import time
import traceback
from pathlib import Path
from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.notice.kinds import MANNERS, Kind
from checkwatch.answers.overdue import overdue
from checkwatch.cli.changes import LARGEST
from checkwatch.cli.options import Db, Json, asking
from checkwatch.cli.show import show, tell, tell_problems
from checkwatch.core.mistake import nearest, quoted
from checkwatch.errors import Problem, WrongUse
from checkwatch.rules.table import one_of
from checkwatch.run import clock, hearing, sending
from checkwatch.run.notices import load, unknown_areas
from checkwatch.run.sending import Sent
from checkwatch.run.world import Asked, ask
from checkwatch.store.outbox import Message
from checkwatch.views import document, watching
from checkwatch.views.words import Here, harmless

log = logging.getLogger("checkwatch.watcher")

Notices = Annotated[
    str | None,
    typer.Option(
        "--notices",
        help="The notices file: whom to tell of what; else CHECKWATCH_NOTICES.",
        metavar="FILE",
    ),
]


def send(
    ctx: typer.Context,
    kind: Annotated[str, typer.Argument(help="What to tell of, such as nightly-list.")],
    to: Annotated[
        list[str] | None,
        typer.Option("--to", help="Whom to tell instead: a code or a role.", metavar="WHO"),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Print the messages and hand nothing over.")
    ] = False,
    notices: Notices = None,
    db: Db = None,
) -> None:
    """Tell people of one kind of thing now; of the same thing each is told once, whatever runs
    it. For a timer that runs by itself.

    Exit code: 0 nothing is overdue, 1 something is overdue or unknown, 6 cannot tell, 7 a message
    could not be handed over.
    """
    url, now = asking(ctx, db).db, clock.now()
    plan, of_kind, whom = load(notices), _kind(kind), tuple(to or ())
    tell_problems(unknown_areas(plan, _areas(ask(url, now, lambda _: ()))))
    if dry_run:
        asked, messages = sending.imagined(url, of_kind, plan, whom, now)
        _print(messages)
        raise typer.Exit(_code(asked))
    sent = sending.send(url, of_kind, plan, whom, now)
    _report(sent, of_kind)
    raise typer.Exit(errors.UNDELIVERED if sent.undelivered else _code(sent.asked))


def _kind(word: str) -> Kind:
    known = [kind.value for kind in Kind]
    if word not in known:
        remedy = nearest(word, known, one_of(known))
        raise WrongUse(Problem("KIND", f"{quoted(word)} is no kind of notice", remedy))
    return Kind(word)


def _areas(asked: Asked) -> list[str]:
    return [place.area for place in asked.names.places.values()]


def _code(asked: Asked) -> int:
    if asked.book.doubts:
        return errors.CANNOT_TELL
    return errors.YES if overdue(asked.book, asked.question).nothing else errors.NO


def _print(messages: list[Message]) -> None:
    if not messages:
        print("Nobody would be told anything that was not told already.")
    for one in messages:
        print(f"To {one.recipient}: {one.title}\n\n{one.body}")


def _report(sent: Sent, kind: Kind) -> None:
    here = sent.asked.here
    if not sent.messages:
        print(f"There is nothing to tell: {MANNERS[kind].title}.")
    for one in sent.messages:
        if one.sent is None:
            why = f": {one.trouble}" if one.trouble else ""
            tell(f"{one.recipient}: not handed over{why}; it is tried again by the next run")
        else:
            before = "already " if one.number in sent.before else ""
            told = f"{before}handed over {here.moment(one.sent)}"
            print(harmless(f"{one.recipient}: {one.title} ({told})", 400))


def watch(
    ctx: typer.Context,
    page: Annotated[
        str | None,
        typer.Option(
            "--page", help="Also keep pages for a wall or a phone in a folder.", metavar="DIR"
        ),
    ] = None,
    status: Annotated[
        bool, typer.Option("--status", help="Say whether a watcher runs, and what nobody took.")
    ] = False,
    notices: Notices = None,
    db: Db = None,
    json: Json = False,
) -> None:
    """Stay, look at the book, and tell people in time; Ctrl-C or SIGTERM ends it.

    With --status, exit code: 0 somebody watches and all is handed over, 1 not, 6 cannot tell.
    """
    asked_with = asking(ctx, db, json=json)
    if status:
        _status(asked_with.db, asked_with.json)
    if asked_with.json:
        raise WrongUse(Problem("--json", "a watcher prints nothing", "add --status"))
    from checkwatch.run.watcher.daemon import Daemon
    from checkwatch.run.watcher.holder import name_of_process
    from checkwatch.run.watcher.tick import Watcher
    from checkwatch.run.watcher.wall import Wall

    now, plan = clock.now(), load(notices)
    areas = _areas(ask(asked_with.db, now, lambda _: ()))
    holder = name_of_process(now)
    wall = Wall(page) if page is not None else None
    _log()
    for problem in unknown_areas(plan, areas):
        # A watcher that does not begin tells nobody of anything.
        log.warning("event=unknown-area why=%r", str(problem))
    for kind, area in plan.untold(areas):
        log.warning("event=nobody-is-told kind=%s area=%r", kind.value, area)
    Daemon(Watcher(asked_with.db, plan, holder, now), holder, wall, clock.now).run()


def _status(url: str, json: bool) -> None:
    from checkwatch.run.watcher.status import watching as look

    now = clock.now()
    found, asked = look(url, now), ask(url, now, lambda _: ())
    if json:
        print(document.to_text(watching.document(found)))
    else:
        show(watching.watching(found, Here(asked.zone, now)), asked.banner)
    good = found.somebody_watches and not found.undelivered
    raise typer.Exit(errors.YES if good else errors.NO)


def _log() -> None:
    """One line an event on standard error; which service keeps them is not ours to say."""
    handler = logging.StreamHandler(sys.stderr)
    form = _OneLine("time=%(asctime)s level=%(levelname)s %(message)s")
    form.converter = time.gmtime
    form.default_time_format, form.default_msec_format = "%Y-%m-%dT%H:%M:%S", "%s.%03dZ"
    handler.setFormatter(form)
    logging.getLogger("checkwatch").addHandler(handler)
    logging.getLogger("checkwatch").setLevel(logging.INFO)
    logging.getLogger("apscheduler").addHandler(handler)
    logging.getLogger("apscheduler").setLevel(logging.ERROR)


class _OneLine(logging.Formatter):
    """What nobody foresaw is one line too, and says where it happened, not in which words: these
    may hold what is not for everybody."""

    def format(self, record: logging.LogRecord) -> str:
        if record.exc_info and record.exc_info[0]:
            kind, _, trace = record.exc_info
            last = traceback.extract_tb(trace)[-1]
            why = f"{kind.__name__} in {Path(last.filename).name}, line {last.lineno}"
            more = {"msg": "event=failed why=%r", "args": (why,), "exc_info": None}
            record = logging.makeLogRecord({**record.__dict__, **more, "exc_text": None})
        return super().format(record)


def heard(
    ctx: typer.Context,
    number: Annotated[
        int, typer.Argument(help="The number of the notice.", metavar="N", min=1, max=LARGEST)
    ],
    by: Annotated[str, typer.Option("--by", help="Your code; no name.", metavar="WHO")],
    db: Db = None,
) -> None:
    """Say that you took notice of a notice: it is not repeated. What is owed stays owed.

    Of a failed check, a fault that forbids use and an exception it is told again after a time,
    while it stands.
    """
    found = hearing.hear(asking(ctx, db).db, number, by, clock.now())
    told = MANNERS[found.told.kind]
    print(f"Notice {number} ({told.title}, {found.told.subject}) was heard by {by}.")
    if told.returns:
        print("It is told again after a while as long as it stands. What is owed stays owed.")
    else:
        print("It is not told again. What is owed stays owed.")


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command()(send)
    app.command()(watch)
    app.command()(heard)
