"""What came of a write beside the standing, in words: what was struck and what that leaves, why a
good result counts for nothing, what an exception excuses and what ended one."""

from __future__ import annotations

import shlex
from collections.abc import Iterable

from checkwatch.answers.cleared import reasons
from checkwatch.answers.fitted import good_to
from checkwatch.answers.remark import (
    Closed,
    Doubtful,
    Ended,
    Excuse,
    NotOut,
    Remark,
    Repeated,
    Signed,
    StillOn,
    Striking,
    UnderTest,
)
from checkwatch.answers.uncounted import Uncounted, Why
from checkwatch.core import entry as e
from checkwatch.core.attempt import plain as number
from checkwatch.core.rulebook import ForUse, UntilExpiry
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import Standing, State
from checkwatch.core.wording import NOUNS
from checkwatch.views.entry import closing
from checkwatch.views.fitted import day
from checkwatch.views.reason import clause, said, voider
from checkwatch.views.report import Command, Report
from checkwatch.views.unpaid import in_a_row
from checkwatch.views.words import Here, duration, harmless, inside, listed, spoken, with_article
from checkwatch.views.writer import FLAGS

#: The reserved words that are no nouns of their own.
_NOUNS = {
    **{word: noun.partition(" ")[2] for word, noun in NOUNS.items()},
    "enrolled": "enrolment",
    "retired": "retirement",
    "withdrawn": "withdrawal",
}

#: What gives something, which a plain striking takes away.
_GIVING = (e.Returned, e.FaultClosed, e.Reading)


def remark(one: Remark, after: MachineStanding, here: Here) -> Report:
    """What is said of it below the standing."""
    if isinstance(one, Striking):
        return _left(one, after)
    if isinstance(one, Uncounted):
        return [_uncounted(one, after, here)]
    if isinstance(one, Excuse):
        return [text] if (text := _excuse(one, here)) else []
    if isinstance(one, Doubtful):
        assert one.result.flag is not None, "doubtful is what has a flag"
        return [f"It is flagged: {FLAGS[one.result.flag]}."]
    if isinstance(one, Signed):
        return [f'It is signed: "{harmless(one.entry.signed, 400)}".']
    if isinstance(one, Repeated):
        return [f"This exception is {in_a_row(one.debt, one.machine, here)}."]
    if isinstance(one, UnderTest):
        return [_under_test(one, here)]
    if isinstance(one, StillOn):
        began = f"{here.dated(one.case.at)}, entry {one.case.seq}"
        return [f"The case before this one began {began}, and has no end in the book."]
    if isinstance(one, Closed):
        idle = "" if one.closing.of else ": no fault was open, it counts as one that forbade use"
        return [f"{closing(one.closing)}{idle}."]
    if isinstance(one, NotOut):
        return [
            f"{one.machine} was not withdrawn and waited for no engineer; this return counts all "
            "the same."
        ]
    return [_ended(one, here)]


def struck(one: Striking, after: MachineStanding, here: Here) -> str:
    """What a striking strikes, and with what, as the end of a sentence."""
    entry = one.struck
    cost = ", with all that it cost" if one.striking.restores else ""
    by = f", by {harmless(entry.by, 40)}" if entry.by else ""
    what = f"{entry.machine}'s {_what(entry, after)}, of {here.when(entry.at)}{by}{said(entry)}"
    return f"{what}, entry {entry.seq}{cost}"


def _what(entry: e.Entry, machine: MachineStanding) -> str:
    """An entry as a noun, with what it says."""
    if isinstance(entry, e.Result):
        checks = machine.rulebook.checks if machine.rulebook else {}
        title = checks[entry.check].title if entry.check in checks else entry.check
        return f"{inside(harmless(title, 60))}, {entry.outcome.value}"
    if isinstance(entry, e.Fault):
        return "limiting fault" if entry.severity is e.Severity.LIMIT else "stop-use fault"
    if isinstance(entry, e.Moved):
        return f"move to {harmless(entry.place, 60)}"
    if isinstance(entry, e.Reading):
        return f"reading, {harmless(entry.meter, 60)} {number(entry.value)}"
    return _NOUNS.get(entry.what) or spoken(harmless(entry.what, 60))


def _left(one: Striking, after: MachineStanding) -> Report:
    """What a striking leaves that does not restore, and how to take that away too."""
    entry, tag = one.struck, shlex.quote(one.struck.machine)
    again = Command(f"checkwatch strike {entry.seq} --restores --reason WHY --by WHO")
    if one.striking.restores:
        return []
    if isinstance(entry, e.Note):
        return ["A note changes nothing, struck or not."]
    if isinstance(entry, e.EmergencyUse):
        return ["It excuses nothing any more."]
    if isinstance(entry, e.Enrolled):
        return [
            "The machine stays in the fleet. To take it out:",
            Command(f"checkwatch retire {tag}"),
        ]
    if entry in after.log.open_faults:
        return [
            "The fault stays open: a plain striking takes away only what an entry gave. When it is "
            "mended:",
            Command(f"checkwatch fault-closed {tag} {entry.seq} --how repaired --by WHO"),
            "If there never was a fault, take away what the entry cost as well:",
            again,
        ]
    good = isinstance(entry, e.Result) and entry.outcome in (e.Outcome.PASS, e.Outcome.LIMITED)
    if good or isinstance(entry, _GIVING):
        limited = isinstance(entry, e.Result) and entry.outcome is e.Outcome.LIMITED
        stays = f"What it ended stays ended{', and its limit stays' if limited else ''}"
        return [f"It gives nothing any more. {stays}. To take that away as well:", again]
    return [
        "It goes on counting: a plain striking takes away only what an entry gave. To take away "
        "what it cost as well:",
        again,
    ]


def _uncounted(one: Uncounted, after: MachineStanding, here: Here) -> str:
    outcome = one.result.outcome
    this = "This pass" if outcome is e.Outcome.PASS else f"This {outcome.value} result"
    if one.check.code != one.result.check:
        title = with_article(harmless(one.check.title, 60))
        verdict = "counts as a fail" if one.why is Why.BEYOND else "does not count"
        return f"As {title} it {verdict}: {_why(one, after, here)}."
    if one.why is Why.BEYOND:
        return f"{this} counts as a fail: {_why(one, after, here)}."
    limit = ", but its limit stays" if outcome is e.Outcome.LIMITED else ""
    if any(s.ready and s.attempt and s.attempt.seq == one.result.seq for s in after.checks):
        # It counts for what it covers.
        this = f"As {with_article(harmless(one.check.title, 60))} this {this[5:]}"
    return f"{this} counts for nothing{limit}: {_why(one, after, here)}."


def _why(one: Uncounted, after: MachineStanding, here: Here) -> str:
    if one.why is Why.LACKS:
        return f"{listed(one.measures)} {'was' if len(one.measures) == 1 else 'were'} not measured"
    if one.why is Why.BEYOND:
        return "; ".join(harmless(text, 120) for text in one.measures)
    if one.why is Why.FLAGGED:
        assert one.result.flag is not None, "not trusted is what has a flag"
        return FLAGS[one.result.flag]
    if one.why is Why.OVER:
        rule = f", {clause(one.clause)}," if one.clause else ""
        return f"by its rule{rule} it was over at once{_look(one, after)}"
    moment = here.moment(one.entry.at) if one.entry else "meanwhile"
    if one.why is Why.ENGINEER:
        return f"the fail {moment} waits for a return to use, and none came before this test began"
    came = "a fail" if one.why is Why.FAILED else voider(one.entry, after.rulebook)
    return f"{came} {moment} came under the test, which {_began(one, here)}"


def _under_test(one: UnderTest, here: Here) -> str:
    """A case and a test at once: whether the test stands is the rules' matter, the patient's safety
    that of whoever is there."""
    title = with_article(harmless(one.check.title, 60))
    test = f"{title[:1].upper()}{title[1:]}"
    text = f"{test} is under way since {here.local(one.began)}"
    if one.over:
        text = f"A case began {here.moment(one.case.at)}, under this test"
    cautions = " ".join(harmless(caution, 200) for caution in one.check.cautions)
    return f"{text}. Its cautions: {cautions}" if cautions else f"{text}."


def _look(one: Uncounted, after: MachineStanding) -> str:
    """What may be missing in the book, or is over, where a rule gives no time."""
    if isinstance(one.clause, ForUse):
        return "; look whether a reading is missing"
    if not isinstance(one.clause, UntilExpiry):
        return ""
    good = good_to(after.log, one.clause.happening, one.result.at)
    if good is None:
        return "; look whether a label is missing: no expiry is known of it"
    return f"; what is fitted was good to {day(good)}"


def _began(one: Uncounted, here: Here) -> str:
    """Since when the test ran, and where nobody said so, by what."""
    assert one.attempt is not None, "what came under a test came under an attempt"
    began, typed = one.attempt.began, one.result.started
    if began in (typed, one.result.at):
        return f"began {here.moment(began)}"
    return f"takes {duration(one.result.at - began)} and began {here.moment(began)} at the latest"


def _excuse(one: Excuse, here: Here) -> str:
    """What a new exception does not excuse, or excused only in the past."""
    then, exception = one.then, one.exception
    failed = [gate for gate in then.gates if gate.state is State.FAILED]
    excused = [gate for gate in then.gates if gate.check.code in then.excused]
    forbids = [reason.forbids for reason in reasons(then) if reason.forbids is not None]
    end = max(then.excused.values(), default=exception.until)
    if excused and not forbids and end <= here.now:
        return f"This exception excused {_titles(excused)} until {here.when(end)}."
    if then.standing is Standing.BY_EXCEPTION:
        return ""
    if excused and failed and not forbids:
        but = f"but not {_titles(failed)}: a failed gate cannot be excused"
        return f"This exception excuses {_titles(excused)} until {here.when(end)}, {but}."
    why = _idle(forbids, failed, one, here)
    would = "would end" if exception.until > here.now else "would have ended"
    return f"This exception excuses nothing: {why}. It {would} {here.dated(exception.until)}."


def _idle(forbids: Iterable[e.Entry], failed: list[CheckState], one: Excuse, here: Here) -> str:
    """Why an exception excuses nothing."""
    then, moment = one.then, one.exception.at
    for entry in forbids:
        if isinstance(entry, e.Fault):
            return f"fault {entry.seq} forbids the use of {then.machine}{said(entry)}"
        return f"{then.machine} is withdrawn, since {here.when(entry.at)}"
    if failed:
        return f"{_titles(failed)} failed, and a failed gate cannot be excused"
    if not then.gates:
        return f"no gate of the rulebook applies to {then.machine}"
    if moment == here.now:
        return "every gate is ready"
    return f"every gate was ready {here.moment(moment)}"


def _ended(one: Ended, here: Here) -> str:
    several = len(one.exceptions) > 1
    times = listed(here.local(exception.at) for exception in one.exceptions)
    which = f"exception{'s' if several else ''} of {times}"
    if not one.gates:
        return f"This ended the {which}."
    return f"The {which} {'do' if several else 'does'} not excuse {_titles(one.gates)}."


def _titles(gates: Iterable[CheckState]) -> str:
    return listed(f"the {inside(harmless(gate.check.title, 60))}" for gate in gates)
