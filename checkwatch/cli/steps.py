"""Being led through a check at the machine, from its beginning in the book to its result."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterable
from datetime import tzinfo
from functools import partial
from typing import Annotated, NamedTuple

import typer

from checkwatch import errors
from checkwatch.answers.cleared import cleared
from checkwatch.answers.steps import half_done, typed
from checkwatch.answers.steps.asked import Ask, Finding, Going, Kind, Said
from checkwatch.answers.steps.course import answered, next_question, still_open, take
from checkwatch.answers.steps.half_done import Kept
from checkwatch.cli import ask
from checkwatch.cli.options import By, Db, asking
from checkwatch.cli.quick import CODES
from checkwatch.cli.replies import chosen, own_code
from checkwatch.cli.show import on_screen, show
from checkwatch.cli.signing import signing
from checkwatch.core.entry import Outcome
from checkwatch.core.rulebook import Check
from checkwatch.errors import Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.steps import (
    AtMachine,
    Drawer,
    HalfDone,
    Seen,
    at_machine,
    open_notes,
    taken_up,
)
from checkwatch.run.world import Asked
from checkwatch.run.write import Written
from checkwatch.store import committed
from checkwatch.views import answer, effect
from checkwatch.views import steps as words
from checkwatch.views.steps import Par
from checkwatch.views.words import LOOKS, Here, inside, listed

#: So often somebody's own code is asked for.
_TRIES = 3


def steps(
    ctx: typer.Context,
    machine: Annotated[str, typer.Argument(help="The machine's tag.", metavar="MACHINE")],
    check: Annotated[
        str | None, typer.Argument(help="The check's code; else what clears it.", metavar="CHECK")
    ] = None,
    by: By = "",
    db: Db = None,
) -> None:
    """Be led through a check, step by step, and write its beginning and its result.

    Without CHECK it leads through the least work that clears the machine, one check after another.
    Left before its end, or cut off, the same command goes on where it was. Exit code: 0 the check
    counts, 4 with limits, 1 it does not, 130 left before its end; without CHECK as `cleared`.
    """
    at = at_machine(asking(ctx, db).db, machine, by.strip())
    if not at.by:
        at = at._replace(by=own_code())
    drawer = Drawer(at.url)
    committed.go_on()
    code = _least_work(at, drawer) if check is None else _check(at, drawer, check)
    if code is None:
        raise WrongUse(Problem("", "nothing was written", "run it again to begin"))
    raise typer.Exit(code)


def _tell(paragraphs: Iterable[Par]) -> None:
    for paragraph in paragraphs:
        ask.say(paragraph.text, paragraph.label)


def _least_work(at: AtMachine, drawer: Drawer) -> int:
    """Check after check until the machine is cleared, or it is left; the exit code says where it
    stands then."""
    wrote = False
    while True:
        asked = at.look()
        found = cleared(at.machine, asked.book, asked.question)
        left = [code for code in at.checks(asked) if _half_done(at, drawer, asked, code)]
        owed = [] if found.to_clear.others_must else [c.code for _, c in found.to_clear.checks]
        if not left and not owed:
            break
        if not wrote:
            _say_banner(asked)
            ask.say(f"{at.machine}: {LOOKS[found.standing].word}. {answer.clears(found)}")
        code = _one(at, drawer, (left or owed)[0])
        if code not in (errors.YES, errors.WITH_LIMITS):
            return CODES[found.standing] if code is None else code
        wrote = True
    if not wrote:
        others = [text] if (text := answer.clears(found)) else []
        show([answer.sentence(found, asked.here), *others, answer.caution(found)], asked.banner)
        ask.say(f"To do one all the same name it: {listed(at.checks(asked), 'or') or 'none'}.")
    return CODES[found.standing]


def _half_done(at: AtMachine, drawer: Drawer, asked: Asked, code: str) -> bool:
    kept = drawer.find(at.machine, code, at.by)
    return kept is not None and not taken_up(kept, at.check(asked, code), asked).why


def _say_banner(asked: Asked) -> None:
    if asked.banner:
        ask.say(asked.banner)


class _Test(NamedTuple):
    """One check of a machine, and whoever goes through it."""

    at: AtMachine
    drawer: Drawer
    check: Check
    zone: tzinfo

    def here(self) -> Here:
        return Here(self.zone, clock.now())


def _check(at: AtMachine, drawer: Drawer, code: str) -> int | None:
    """The check that was named."""
    _say_banner(at.look())
    return _one(at, drawer, code)


def _one(at: AtMachine, drawer: Drawer, code: str) -> int | None:
    """One check from its beginning to its result; None where it was not begun.

    The exit code says whether it counts now.
    """
    asked = at.look()
    test = _Test(at, drawer, at.check(asked, code), asked.zone)
    kept = drawer.find(at.machine, code, at.by)
    half = None if kept is None else taken_up(kept, test.check, asked)
    begun = (half and _resumed(test, half, asked.here)) or _begun(test, half)
    if begun is None:
        return None
    kept, going = begun
    finding = _gone_through(test, kept, going)
    by = _whose(test, finding)
    try:
        # In a pipe the PIN, where one is asked for, is the next line.
        wrote = signing(at.url, True, partial(at.end, test.check, kept, finding, by))
    except (errors.CheckwatchError, KeyboardInterrupt):
        _tell_again(test, "Nothing was written now. The same answers are there with:")
        raise
    drawer.drop(kept)
    if not by:
        _say_unwritten(test, finding)
    return _ended(test, finding, wrote)


def _whose(test: _Test, finding: Finding) -> str:
    """The code with which what was left open is written as a fault; empty where nobody gives one.
    Then the result is written all the same, and its note has it: it must not be lost."""
    by = test.at.by
    if not open_notes(test.check, finding):
        return by
    for _ in range(_TRIES):
        wrong = test.at.forbids_fault(by)
        if not wrong:
            return by
        ask.say(f"What is left open is written as a fault, and {wrong[0].what}.")
        try:
            by = ask.line("Your own code > ")
        except KeyboardInterrupt:
            ask.say()
            return ""
        if not by:
            return ""
    return "" if test.at.forbids_fault(by) else by


def _say_unwritten(test: _Test, finding: Finding) -> None:
    """What writes the faults that wait for somebody's code."""
    ask.say("Without a code no fault was written: only the note of the result has it. Write it:")
    for note in open_notes(test.check, finding):
        tag = shlex.quote(test.at.machine)
        ask.command(f"checkwatch fault {tag} limit --note {shlex.quote(note)} --by WHO")


def _resumed(test: _Test, half: HalfDone, here: Here) -> tuple[Kept, Going] | None:
    """The check as it was left, if it is gone on with."""
    going, check = half.going, test.check
    if going is None:
        ask.say(f"What was half done of the {inside(check.title)} begins anew: {half.why}.")
        return None
    _tell(words.heading(check, test.at.machine))
    _tell(words.recap(answered(going), half.kept.begun, here))
    reply = chosen("Go on with it?", words.GO_ON)
    if reply == "no":
        return None
    if reply == typed.STOP:
        going, _ = take(going, Said(typed.STOP, clock.now()))
    test.drawer.keep(half.kept._replace(said=going.said))
    return half.kept, going


def _begun(test: _Test, half: HalfDone | None) -> tuple[Kept, Going] | None:
    """The check begun in the book, if that is wanted."""
    at, check = test.at, test.check
    _tell(words.heading(check, at.machine))
    begun = None
    while begun is None:
        asked = at.look()
        seen = at.seen(asked, check)
        _tell_before(test, asked, seen, half)
        if chosen("Begin?", words.BEGIN) != "yes":
            return None
        begun = at.begin(check, seen)
        if begun is None:
            ask.say("Nothing was written: meanwhile somebody else was at it. Look once more.")
    kept, wrote = begun
    if not test.drawer.keep(kept):
        ask.say("Its answers cannot be kept meanwhile: a lost terminal would lose them.")
    ask.say(f"Entry {kept.begun}: begun at {wrote.asked.here.local(kept.at)}. {words.HOW}")
    return kept, Going(check, kept.at)


def _tell_before(test: _Test, asked: Asked, seen: Seen, half: HalfDone | None) -> None:
    """What to know, and to look at, before a check is begun."""
    at, check, other = test.at, test.check, seen.under_way
    opened = dict.fromkeys(half.opened if half else ())
    if other is not None:
        done = at.checks(asked).get(other.check)
        ask.say(words.under_way(other, check, done, asked.here))
        if done and not (half and half.kept.begun == other.seq):
            opened |= dict.fromkeys(done.put_backs)
    for text in opened:
        ask.say(f"{text.rstrip('.?')}?", "Look first, is it so: ")
    for problem in at.forbids(asked, check):
        ask.say(f"Look: {problem}.")
    if seen.ends:
        ask.say(f"{at.machine} is cleared now; from the beginning until the result it is not.")


def _gone_through(test: _Test, kept: Kept, going: Going) -> Finding:
    """Asks until the check has come to something; each answer is kept before the next question."""
    now: Ask | Finding = next_question(going)
    while isinstance(now, Ask):
        try:
            text = _answer(test, kept, now)
        except KeyboardInterrupt:
            _left(test, going)
            raise
        moment = clock.now()
        if half_done.too_old(kept._replace(said=going.said), test.check, moment):
            _tell_opened(going)
            what = "was left too long: what was looked at may have changed"
            raise WrongUse(Problem(test.check.title, what, "begin anew"))
        before = going
        going, now = take(going, Said(text, moment))
        if going is not before:
            test.drawer.add(kept, going.said[-1])
    return now


def _tell_opened(going: Going) -> None:
    for text in still_open(going):
        ask.say(text, "Put it right: ")


def _left(test: _Test, going: Going) -> None:
    """What to mind, and what to type, where a check is left before its end."""
    ask.say()
    ask.say()
    _tell_opened(going)
    _tell_again(test, "Left: only its beginning is written, and it is owed. This goes on with it:")


def _tell_again(test: _Test, how: str) -> None:
    """The command that goes on with a check."""
    ask.say(how)
    tag, by = shlex.quote(test.at.machine), shlex.quote(test.at.by)
    ask.command(f"checkwatch steps {tag} {test.check.code} --by {by}")


def _answer(test: _Test, kept: Kept, now: Ask) -> str:
    """Asks one question; raises KeyboardInterrupt for q."""
    ask.say()
    if now.kind is Kind.WRITE:
        asked = test.at.look()
        if why := half_done.meanwhile(kept, test.check, asked.book, asked.question):
            ask.say(f"Look: {why}. A good result will not count.")
    _tell(words.question(now, test.check, test.at.machine, test.here()))
    if now.kind is Kind.RUN and on_screen() and ask.on_terminal():
        from checkwatch.run.waiting import wait

        assert test.check.minutes is not None, "without minutes nothing runs by itself"
        begun = wait(now.since, test.check.minutes, clock.now, words.prompt(now))
        # The key that ended the bar belongs to the answer, and so does what came with it.
        text = ask.line(words.prompt(now), ahead=True) if begun is None else begun
    else:
        text = ask.line(words.prompt(now))
    while text == "?":
        _tell(words.more(now))
        text = ask.line(words.prompt(now))
    if text.lower() in ("q", "quit"):
        raise KeyboardInterrupt
    return text


def _ended(test: _Test, finding: Finding, wrote: Written) -> int:
    """Shows what was written and what came of it; whether the check counts now."""
    for text in finding.not_put_back:
        ask.say(text, "NOT PUT RIGHT: ")
    show(effect.effects(wrote.by_machine, wrote.places, wrote.asked.here), wrote.asked.banner)
    sys.stdout.flush()
    if finding.outcome is Outcome.STOPPED and not wrote.effects[0].after.usable:
        when = "Used in the emergency" if finding.emergency else "Used all the same"
        ask.say(f"{when}, it needs an exception:")
        reason = finding.reason if finding.emergency else ""
        ask.command(effect.excepting(test.at.machine, test.at.by, reason))
    checks = wrote.effects[0].after.checks
    state = next((one for one in checks if one.check.code == test.check.code), None)
    if state is None or not state.ready or state.attempt is None:
        return errors.NO
    limited = state.attempt.outcome is Outcome.LIMITED
    return errors.WITH_LIMITS if limited else errors.YES


def add_to(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(steps)
