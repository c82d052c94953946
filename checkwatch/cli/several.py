"""The commands that write about one machine, or one entry for each of several."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from typing import Annotated, Any, NamedTuple, TypeGuard

import typer

from checkwatch.answers.acceptance import ends_nothing
from checkwatch.cli.entries import (
    Common,
    MachineClock,
    MakeAll,
    begun,
    compared,
    draft,
    show_written,
    write_all,
)
from checkwatch.cli.options import Yes, confirm
from checkwatch.cli.show import tell
from checkwatch.cli.signing import signing
from checkwatch.cli.spread import spread
from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.logbook import as_of
from checkwatch.core.mistake import quoted
from checkwatch.core.spelling import alike, likeness
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.pin import Signature
from checkwatch.run.world import Asked, ask, everything
from checkwatch.run.write import Written, write
from checkwatch.views.words import listed, plural

Place = Annotated[str | None, typer.Option("--place", help="Every machine in a place.")]
Area = Annotated[str | None, typer.Option("--area", help="Every machine in an area.")]
Kind = Annotated[str | None, typer.Option("--kind", help="Every machine of a kind.")]
Model = Annotated[str | None, typer.Option("--model", help="Every machine of a model.")]

#: Happenings that need no rulebook.
CASES: dict[str, type[e.Entry]] = {"case-start": e.CaseStart, "case-end": e.CaseEnd}


class Several(NamedTuple):
    """Instead of one machine: all of a place, an area, a kind or a model."""

    place: Place = None
    area: Area = None
    kind: Kind = None
    model: Model = None
    yes: Yes = False

    @property
    def _options(self) -> tuple[str | None, ...]:
        return (self.place, self.area, self.kind, self.model)

    @property
    def meant(self) -> bool:
        """Whether any of them was given."""
        return any(one is not None for one in self._options)

    def tags(self, asked: Asked, at: Instant | None) -> list[str]:
        """The machines of which it was true at an instant, or is now; WrongUse for none."""
        question = asked.question if at is None else asked.question._replace(at=at)
        areas = {p.place: p.area for p in asked.book.places_known(question).values()}
        fleet = [
            (machine.log.place, machine.log.enrolled)
            for machine in asked.book.fleet(question)
            if machine.log.enrolled is not None
        ]
        place = None if self.place is None else _place(self.place, asked)
        area = None if self.area is None else _meant(self.area, areas.values(), "area")
        kind = None if self.kind is None else _meant(self.kind, (m.kind for _, m in fleet), "kind")
        models = (machine.model for _, machine in fleet)
        model = None if self.model is None else _meant(self.model, models, "model")
        found = [
            machine.machine
            for stands, machine in fleet
            if place in (None, stands)
            and area in (None, areas.get(stands))
            and kind in (None, machine.kind)
            and model in (None, machine.model)
        ]
        if not found:
            raise WrongUse(Problem("", "no machine is meant", "see `checkwatch board --once`"))
        return found


def _place(typed: str, asked: Asked) -> str:
    name = asked.names.resolve(typed)
    if name not in asked.names.places:
        raise CannotTell(Problem(name, "is a machine", "name it without --place"))
    return name


def _meant(typed: str, known: Iterable[str], called: str) -> str:
    """The area or kind that is meant; capitals and blanks may differ where only one fits."""
    there = sorted({*known} - {""})
    if typed in there:
        return typed
    fitting = alike(there).get(likeness(typed), [])
    if len(fitting) == 1:
        return fitting[0]
    remedy = f"there are: {', '.join(there)}" if there else "the book knows none"
    raise WrongUse(Problem(f"--{called}", f"there is no {called} {quoted(typed)}", remedy))


def _write(common: Common, machine: str | None, several: Several, make: MakeAll) -> None:
    """Writes about one machine, or the same about each of several."""
    if (machine is not None) == several.meant:
        remedy = "name one machine, or use --place, --area, --kind or --model"
        raise WrongUse(Problem("", "which machine is meant", remedy))
    if machine is None and common.ref:
        what = "one ref is one entry's"
        raise WrongUse(Problem("--ref", what, "leave it out, or name one machine"))
    if machine is None:
        _write_several(common, several, make)
    else:
        write_all(common, machine, make, instead=", or use --place for all of them")


def _write_several(common: Common, several: Several, make: MakeAll) -> None:
    """Shows the list and asks, then writes by the clock of then.

    While somebody reads the list, no other writer waits: it is looked at once more when written.
    """

    left: list[str] = []

    def drafts(asked: Asked, at: Instant | None) -> list[e.Entry]:
        tags = several.tags(asked, at)
        made = [entry for tag in tags for entry in make(asked, common.fields(asked, tag, at))]
        idle = {entry.machine: entry.code for entry in made if _is_idle(entry, asked)}
        left[:] = [f"{tag} is left out: {code} ends nothing on it" for tag, code in idle.items()]
        if made and len(idle) == len(tags):
            code = next(iter(idle.values()))
            what = f"{code} ends nothing on {listed(idle)}"
            raise WrongUse(Problem("", what, "name the machine to which it happened"))
        return [entry for entry in made if entry.machine not in idle]

    def foreseen(asked: Asked) -> list[e.Entry]:
        return drafts(asked, common.moment(asked))

    url = common.asking.db
    seen = write(url, clock.now(), everything, foreseen, what_if=True)
    at = common.moment(seen.asked)
    tags = _tags(seen.entries)
    tell(f"{plural(len(tags), 'machine')}: {', '.join(tags)}")
    for line in left:
        tell(line)

    def confirmed(asked: Asked) -> list[e.Entry]:
        found = drafts(asked, at)
        if _tags(found) != tags:
            what = f"the list has changed: {', '.join(_tags(found))}"
            raise WrongUse(Problem("", f"{what}; nothing was written", "run it again"))
        return found

    if not common.what_if:
        count = len(seen.entries)
        each = "one" if count == len(tags) else str(count // len(tags))
        confirm(f"Write {plural(count, 'entry', 'entries')}, {each} for each?", several.yes)

        def act(signature: Signature | None) -> Written:
            return write(url, clock.now(), everything, confirmed, False, signature)

        seen = signing(url, common.pin_stdin, act)
    show_written(seen, common)


def _is_idle(entry: e.Entry, asked: Asked) -> TypeGuard[e.Happening]:
    """Whether it is a happening that ends nothing on its kind of machine."""
    version = asked.book.versions.in_force(entry.at)
    enrolled = as_of(asked.book.entries[entry.machine], FOREVER, FOREVER).enrolled
    return (
        isinstance(entry, e.Happening)
        and version is not None
        and enrolled is not None
        and ends_nothing(entry.code, enrolled.kind, version.rulebook)
    )


def _tags(entries: Iterable[e.Entry]) -> list[str]:
    return [*dict.fromkeys(entry.machine for entry in entries)]


@spread()
def happened(
    several: Several,
    common: Common,
    words: Annotated[
        list[str], typer.Argument(help="CODE alone with --place …", metavar="MACHINE CODE")
    ],
    check: Annotated[
        str | None,
        typer.Option("--with", help="At case-start: a check that was passed.", metavar="CHECK"),
    ] = None,
    machine_clock: MachineClock = None,
) -> None:
    """Write that something happened to a machine: a code of the rulebook, case-start, case-end.

    With case-start, --with also writes the pass of the check that was done for this patient: both
    entries, or none.
    """
    if len(words) > 2:
        raise WrongUse(Problem(" ".join(words[2:]), "too many words", "MACHINE and CODE"))
    if len(words) == 1 and not several.meant:
        _refuse_half(common, words[0])
    machine, code = (words[0], words[1]) if len(words) == 2 else (None, words[0])
    if machine is None and machine_clock is not None:
        what = "several machines have several clocks"
        raise WrongUse(Problem("--machine-clock", what, "name one machine"))
    if machine is None and check is not None:
        what = "a check is done on one machine after the other"
        raise WrongUse(Problem("--with", what, "name one machine"))

    def make(asked: Asked, fields: dict[str, Any]) -> list[e.Entry]:
        fields = compared(machine_clock, asked, fields)
        before = [] if check is None else [_passed(asked, fields, check, code)]
        if code in CASES:
            return [*before, draft(CASES[code], **fields)]
        if code in e.RESERVED:
            remedy = "it has a command of its own; see `checkwatch --help`"
            raise WrongUse(Problem(code, "is no happening", remedy))
        return [draft(e.Happening, **fields, code=code)]

    _write(common, machine, several, make)


def _passed(asked: Asked, fields: dict[str, Any], check: str, code: str) -> e.Entry:
    """The pass that goes with the start of a case, and before it."""
    tag = fields["machine"]
    later = f"`checkwatch done {shlex.quote(tag)} {shlex.quote(check)} pass --by WHO"
    if code != e.CaseStart.what:
        what = f"goes with {e.CaseStart.what} only: with {code} it is not done yet"
        raise WrongUse(Problem("--with", what, f"when it is, {later}`"))
    version = asked.book.versions.in_force(fields["at"])
    known = version.rulebook.checks if version else {}
    if check in known and known[check].required:
        asks = "".join(f" --measure {one}=NUMBER" for one in known[check].required)
        what = f"{check} takes a measure, which is not said here"
        raise WrongUse(Problem("--with", what, f"write it first: {later}{asks}`"))
    begin = begun(asked, fields, check)
    fields = {**fields, "ref": "", "note": "", "started": begin.at if begin else None}
    return draft(e.Result, **fields, check=check, outcome=e.Outcome.PASS)


def _refuse_half(common: Common, word: str) -> None:
    """Refuses a machine to which nothing happened; a happening without a machine is left."""
    asked = ask(common.asking.db, clock.now(), lambda _: ())
    rulebook = asked.book.rulebook(asked.question)
    assert rulebook is not None, "a book without rules is refused before"
    codes = [*rulebook.happenings, *CASES]
    if word not in codes:
        name = asked.names.resolve(word)
        remedy = f"add one of: {', '.join(codes)}"
        raise WrongUse(Problem(name, "what happened to it is not said", remedy))


@spread()
def fault(
    several: Several,
    common: Common,
    words: Annotated[
        list[str],
        typer.Argument(help="Without MACHINE with --place …", metavar="MACHINE stop-use|limit"),
    ],
) -> None:
    """Write a fault: one that forbids use, or one that limits it. The note says what is wrong."""
    severity = words[-1]
    if severity not in list(e.Severity) or len(words) > 2:
        remedy = "say stop-use or limit, after the machine"
        raise WrongUse(Problem(" ".join(words), "how bad the fault is is not said", remedy))
    machine = words[0] if len(words) == 2 else None

    def make(_: Asked, fields: dict[str, Any]) -> list[e.Entry]:
        return [draft(e.Fault, **fields, severity=e.Severity(severity))]

    _write(common, machine, several, make)


@spread()
def withdraw(
    several: Several,
    common: Common,
    machine: Annotated[str | None, typer.Argument(metavar="[MACHINE]")] = None,
) -> None:
    """Take a machine out of use until it is returned."""
    _write(common, machine, several, lambda _, fields: [draft(e.Withdrawn, **fields)])


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command()(happened)
    app.command()(fault)
    app.command()(withdraw)
