"""The answer to "cleared?" in words: one sentence, what would clear it, then the evidence."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from checkwatch.answers.cleared import Cleared
from checkwatch.answers.least_work import Work, readies
from checkwatch.core.attempt import plain as number
from checkwatch.core.instant import FOREVER, HOUR
from checkwatch.core.rulebook import Check
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import ORDER, Standing, State
from checkwatch.views.reason import reasons, unknown
from checkwatch.views.report import LONGEST, Command, Report, Sentence, Table
from checkwatch.views.words import (
    LOOKS,
    STATE_WORDS,
    Here,
    harmless,
    inside,
    listed,
    plural,
    with_article,
)

YES = (Standing.CLEARED, Standing.LIMITED)

#: Less than this is little time left.
LITTLE = HOUR

CAUTION_YES = (
    "This does not hold if a machine was switched off, moved, opened or altered since. A recorded "
    "check is no proof that a machine is safe: the person who uses it checks it and decides."
)
CAUTION_NO = (
    "In an emergency the clinician decides: self-inflating bag and a second source of oxygen at "
    "hand; write the exception afterwards."
)
CAUTION_THEN = (
    "Computed from what people wrote; a recorded check is no proof that a machine was safe."
)


def cleared(answer: Cleared, here: Here) -> Report:
    """The whole answer, read at `here`, whose `now` is the question's."""
    report: Report = [sentence(answer, here)]
    if text := clears(answer):
        report.append(text)
    report += commands(answer)
    return [*report, "", *evidence(answer, here), caution(answer)]


def sentence(answer: Cleared, here: Here, verb: str = "") -> Sentence:
    """The answer in one sentence that names the machines it speaks of."""
    now = answer.question.now
    moment = "" if answer.question.at == now else f" {here.real.dated(answer.question.at)}"
    head = f"{named(answer)} {verb or _verb(answer)} "
    standing = answer.standing
    if standing in YES and answer.gap is not None:
        verdict = max(Standing.NOT_CLEARED, answer.gap.standing, key=ORDER.__getitem__)
        return Sentence(head, verdict, f" for all the time asked{moment}: {_gap(answer, here)}.")
    if standing in YES:
        return Sentence(head, standing, f"{moment}{_lasting(answer, here)}.")
    if standing is Standing.UNKNOWN:
        return Sentence(head, standing, f"{moment}: {unknown(answer, here)}.")
    why = f": {text}" if (text := reasons(answer, here)) else ""
    if standing is Standing.BY_EXCEPTION:
        tail = f"{moment}{_until(answer, here)}{why}; still owed."
        return Sentence(f"{head}in use ", standing, tail)
    return Sentence(head, standing, f"{moment}{why}.")


def named(answer: Cleared) -> str:
    """What was asked about, a place with the machines to compare with the tags in front of you."""
    if not answer.is_place or not answer.machines:
        return answer.asked
    return f"{answer.asked} ({', '.join(machine.machine for machine in answer.machines)})"


def _verb(answer: Cleared) -> str:
    if answer.question.at == answer.question.now:
        return "is"
    return "was" if answer.question.at < answer.question.now else "would be"


def _lasting(answer: Cleared, here: Here) -> str:
    """How long a yes lasts, its limits, and whether all the time asked was looked at."""
    text = _until(answer, here) + _with_limits(answer)
    return f"{text}; that holds for all the time asked" if answer.throughout else text


def _with_limits(answer: Cleared) -> str:
    if answer.standing is not Standing.LIMITED:
        return ""
    number = plural(len(answer.limits), "limit")
    return f" (cleared, with {number} in force): {'; '.join(_limits(answer))}"


def _gap(answer: Cleared, here: Here) -> str:
    """A yes that does not last as long as was asked."""
    assert answer.gap is not None
    word, then = LOOKS[answer.standing].word, LOOKS[answer.gap.standing].word
    until = f"{word} until {here.when(answer.until)}"
    if answer.until == answer.gap.at:
        return f"{until}, then {then}{_with_limits(answer)}"
    return f"{until}, and {then} from {here.when(answer.gap.at)}{_with_limits(answer)}"


def _until(answer: Cleared, here: Here) -> str:
    at, now = answer.question.at, answer.question.now
    if at < now:
        # Not how far it is from now: what was written since may have ended it.
        end = "with no end" if answer.until >= FOREVER else f"until {here.local(answer.until)}"
        return f", {end} by the entries up to then"
    end = "an entry ends it" if answer.until >= FOREVER else here.when(answer.until)
    if at > now:
        return f", until {end}, if nothing more is written"
    little = answer.until - at < LITTLE
    return f", but only until {end}" if little else f" until {end}"


def _limits(answer: Cleared) -> list[str]:
    """Every limit, whole, with its machine where several could be meant."""
    return [
        f"{tag}: {harmless(text, LONGEST)}" if tag and answer.is_place else harmless(text, LONGEST)
        for tag, text in answer.limits
    ]


def clears(answer: Cleared) -> str:
    """What would clear it, and who else must act; empty where that is no question."""
    work = answer.to_clear
    if answer.question.at < answer.question.now or answer.standing in YES or answer.doubts:
        return ""
    sentences = []
    if work.others_must:
        others = "; ".join(harmless(text, 160) for text in work.others_must)
        sentences.append(f"Someone else must act: {others}.")
    if work.checks:
        would = answer.question.at > answer.question.now
        sentences.append(_work(work, would, "what is here" if answer.missing else "it"))
    return " ".join(sentences)


def _work(work: Work, would: bool, whom: str) -> str:
    several = len({tag for tag, _ in work.checks}) > 1
    titles = [
        with_article(harmless(check.title, 60)) + (f" of {tag}" if several else "")
        for tag, check in work.checks
    ]
    verb = "would clear" if would else "clear" if len(titles) > 1 else "clears"
    text = f"{listed(titles)} {verb} {whom}{cost(work)}."
    return f"After that {text}" if work.others_must else text[0].upper() + text[1:]


def cost(work: Work) -> str:
    """About how many minutes; says so where the rulebook does not give all of them."""
    if not work.total:
        return ""
    part = "" if all(check.minutes for _, check in work.checks) else " where the rulebook says"
    if not work.attended:
        return f": no attended minutes, about {number(work.total)} in all{part}"
    attended = f"{number(work.attended)} attended {'minute' if work.attended == 1 else 'minutes'}"
    return f": about {attended}, {number(work.total)} in all{part}"


def commands(answer: Cleared) -> Report:
    """What writes a check that was done and not written; only for an answer about now.

    It asks for the time: written as of now, a test done before what voided it would clear. Where
    others must act first, no test done before they did would count.
    """
    owed = () if answer.to_clear.others_must else answer.to_clear.checks
    asked_now = answer.question.at == answer.question.now and answer.question.known_at is None
    if not owed or not asked_now or answer.doubts:
        return []
    machines = {machine.machine: machine for machine in answer.machines}
    typed: Report = [
        Command(
            f"checkwatch done {shlex.quote(tag)} {check.code} pass"
            f"{_measures(machines[tag], check)} --at WHEN --by WHO"
        )
        for tag, check in owed
    ]
    which = "it was" if len(owed) == 1 else "one of them was"
    return [f"If {which} done and is not written yet:", *typed]


def _measures(machine: MachineStanding, check: Check) -> str:
    """The measures without which a pass would not ready the check and the gates that it covers."""
    assert machine.rulebook is not None, "what clears a machine is a check of its rulebook"
    readied = readies(check, machine.rulebook)
    gates = [gate.check for gate in machine.gates if gate.check.code in readied]
    codes = dict.fromkeys(code for one in (check, *gates) for code in one.required)
    return "".join(f" --measure {code}=NUMBER" for code in codes)


def evidence(answer: Cleared, here: Here) -> Report:
    """Each machine looked at with its gates, and from which entries that was computed."""
    rows = tuple(
        (m.machine, harmless(inside(g.check.title), 24), STATE_WORDS[g.state], _time(g, m, here))
        for m in answer.machines
        for g in m.gates
    )
    table = Table(("machine", "gate", "state", "until or since"), rows)
    report: Report = [table, ""] if rows and not answer.doubts else []
    if answer.limits and answer.standing is not Standing.LIMITED:
        report.append(f"Limits in force: {'; '.join(_limits(answer))}.")
    return [*report, computed([answer], here)]


def _time(gate: CheckState, machine: MachineStanding, here: Here) -> str:
    if gate.ready and gate.window is not None:
        if gate.window.expiry >= FOREVER:
            return "until an entry ends it"
        grace = f"; was due {here.dated(gate.since)}" if gate.state is State.IN_GRACE else ""
        return f"until {here.when(gate.window.expiry)}{grace}"
    excused = machine.excused.get(gate.check.code)
    until = f"; excused until {here.when(excused)}" if excused is not None else ""
    return f"{'from' if gate.since > here.now else 'since'} {here.when(gate.since)}{until}"


def computed(answers: Sequence[Cleared], here: Here) -> str:
    """From which entries some answers of one question come: what is not among them is not seen."""
    entries = [entry for answer in answers for entry in answer.entries]
    text = f"Computed from {plural(len(entries), 'entry', 'entries')}"
    if entries:
        newest = max(entry.recorded for entry in entries)
        text += f", the newest written {here.real.dated(newest)}"
    first = answers[0]
    if first.question.known_at is not None:
        text += f"; as the book was known {here.real.dated(first.question.known_at)}"
    elif first.newest is not None:
        text += f"; the newest in the book {here.real.dated(first.newest)}"
    return f"{text}."


def caution(answer: Cleared) -> str:
    """The one caution that fits the answer."""
    if answer.question.at < answer.question.now:
        return CAUTION_THEN
    return CAUTION_YES if answer.standing in YES else CAUTION_NO
