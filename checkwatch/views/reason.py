"""Reasons in words: what ended a check, what forbids a machine's use, what a place lacks."""

from __future__ import annotations

from checkwatch.answers.cause import cause
from checkwatch.answers.cleared import Because, Cleared
from checkwatch.core.attempt import NOT_COUNTED
from checkwatch.core.entry import Entry, Flag, Happening, Outcome, Result, Withdrawn
from checkwatch.core.place import Missing, Untold
from checkwatch.core.rulebook import (
    Check,
    OnceEach,
    Rulebook,
    UntilExpiry,
    UntilNext,
    ValidFor,
    Validity,
)
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import State
from checkwatch.core.wording import NOUNS
from checkwatch.views.words import (
    Here,
    harmless,
    inside,
    listed,
    period,
    plural,
    spoken,
    with_article,
)

#: More reasons than these are left to the evidence below the sentence.
_MOST = 3


def reasons(answer: Cleared, here: Here) -> str:
    """Why the answer is not a plain yes, in one clause after another."""
    machines = {machine.machine: machine for machine in answer.machines}
    found = [lacks(missing, answer.asked) for missing in answer.missing]
    alike: dict[str, list[str]] = {}
    for reason in answer.because:
        subject, predicate = _reason(reason, machines[reason.machine], here, answer)
        alike.setdefault(predicate, []).append(subject)
    for predicate, (first, *others) in alike.items():
        found.append(f"{first}{f' (and {listed(others)})' if others else ''} {predicate}")
    if len(found) > _MOST + 1:
        found[_MOST:] = [f"and {len(found) - _MOST} more reasons"]
    return "; ".join(found)


def _reason(
    reason: Because, machine: MachineStanding, here: Here, answer: Cleared
) -> tuple[str, str]:
    """A reason as subject and predicate; a machine that could be mistaken is named."""
    owner = "its" if len(answer.machines) == 1 else f"{machine.machine}'s"
    if reason.check is not None:
        title = inside(harmless(reason.check.check.title, 60))
        return f"{owner} {title}", what_ended(reason.check, machine, here)
    forbids = reason.forbids
    if isinstance(forbids, Withdrawn):
        taken_out = f"was taken out of use {here.dated(forbids.at)}{said(forbids)}"
        return machine.machine if answer.is_place else "it", taken_out
    if forbids is None:
        return "an entry", f"forbids the use of {machine.machine}"
    subject = f"fault {forbids.seq}, of {here.when(forbids.at)},"
    return subject, f"forbids the use of {machine.machine}{said(forbids)}"


def said(entry: Entry) -> str:
    """The entry's note in parentheses, if it has one."""
    return f" ({harmless(entry.note, 120)})" if entry.note else ""


def lacks(missing: Missing, asked: str) -> str:
    """What is not there at all."""
    subject = "it" if missing.place == asked else missing.place
    return f"{subject} lacks {plural(missing.number, spoken(missing.kind))}"


def what_ended(state: CheckState, machine: MachineStanding, here: Here) -> str:
    """Why a check is not ready, as the end of a sentence that begins with the check."""
    behind = cause(state, machine)
    moment = here.dated(behind.at)
    if state.state is State.NEVER:
        return "was never done"
    if state.state is State.FAILED:
        several = f" ({plural(state.fails, 'fail')})" if state.fails > 1 else ""
        return f"failed{_within(behind.entry, state.check, machine)} {moment}{several}"
    if state.state is State.STOPPED:
        sentence = f"{_broken_off(state, machine.rulebook)} {moment}"
    elif state.state is State.VOIDED:
        sentence = f"was voided by {voider(behind.entry, machine.rulebook)} {moment}"
    else:
        sentence = f"{'lapses' if behind.at > here.now else 'lapsed'} {moment}"
    return f"{sentence} (after {plural(state.fails, 'fail')})" if state.fails else sentence


def _within(entry: Entry | None, check: Check, machine: MachineStanding) -> str:
    """Which other check it was that failed this one."""
    if not isinstance(entry, Result) or entry.check == check.code or machine.rulebook is None:
        return ""
    return f" in {with_article(harmless(machine.rulebook.checks[entry.check].title, 60))}"


def _broken_off(state: CheckState, rulebook: Rulebook | None) -> str:
    attempt = state.attempt
    if attempt is not None and attempt.struck:
        return "has only a struck result, done"
    outcome = attempt.result.outcome if attempt else Outcome.STOPPED
    if outcome is Outcome.BEGUN:
        return "is under way, begun"
    if outcome is Outcome.STOPPED:
        return "was broken off"
    flag = attempt.result.flag if attempt else None
    if flag and rulebook and state.check.gate and rulebook.doubted(flag) in NOT_COUNTED:
        return _DOUBTFUL[flag]
    return "has only a result that does not count, done"


_DOUBTFUL = {
    Flag.UNTRAINED: "was done by somebody not trained on it,",
    Flag.UNKNOWN: "was done by somebody whom the book did not know,",
    Flag.UNSIGNED: "came unsigned from a file, done",
}


def voider(entry: Entry | None, rulebook: Rulebook | None) -> str:
    """What voided a check, as a noun."""
    if isinstance(entry, Happening):
        if rulebook is None or entry.code not in rulebook.happenings:
            return f'"{harmless(entry.code, 40)}", which the rulebook does not know,'
        noun = spoken(entry.code)
        # A code such as "opened" is no noun.
        title = harmless(rulebook.happenings[entry.code], 60)
        return f'"{title}"' if noun.endswith("ed") else with_article(noun)
    return NOUNS.get(entry.what, "an entry") if entry else "an entry"


def unknown(answer: Cleared, here: Here) -> str:
    """Why nobody can tell."""
    if answer.doubts:
        return f"the book is not believed: {'; '.join(answer.doubts)}"
    found = [untold(one, answer.asked) for one in answer.untold]
    found += [f"{_named(m, answer)}{why}" for m in answer.machines if (why := _untold(m, here))]
    return "; ".join(found) or "no rule says what it needs"


def untold(one: Untold, asked: str) -> str:
    """Why nobody can say what a place, or a room that belongs to it, needs."""
    whose = "its kind" if one.place == asked else f"the kind of {one.place}"
    if one.kind:
        return f'the rulebook does not know {whose}, "{harmless(one.kind, 40)}"'
    return f"the book did not know {'it' if one.place == asked else one.place} then"


def _named(machine: MachineStanding, answer: Cleared) -> str:
    return f"{machine.machine}: " if answer.is_place else ""


def _untold(machine: MachineStanding, here: Here) -> str:
    if machine.rulebook is None:
        return "no rulebook was in force"
    if machine.log.enrolled is None:
        return "it was not commissioned yet"
    if retired := machine.log.retired:
        return f"it was retired {here.dated(retired.at)}"
    return "" if machine.gates else "no gate of the rulebook applies to it"


def clause(validity: Validity) -> str:
    """How long a check counts, in a few words."""
    if isinstance(validity, ValidFor):
        return f"valid for {period(validity.lasts)}"
    if isinstance(validity, UntilNext):
        return f"valid until the next {validity.recurrence}"
    if isinstance(validity, OnceEach):
        return f"once each {validity.unit}"
    if isinstance(validity, UntilExpiry):
        return "good until the expiry of what was fitted"
    return f"valid for {validity.amount} by the meter {validity.meter}"
