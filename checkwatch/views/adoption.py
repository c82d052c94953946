"""What adopting a rulebook would change, who adopted the rules in force, and which are to come."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from checkwatch.answers.adoption import Adoption, Change, Course, Direction, Passes, Rules, Shift
from checkwatch.core.instant import to_datetime
from checkwatch.core.place import PlaceStanding
from checkwatch.core.standing import MachineStanding
from checkwatch.views.report import Command, Report, Table
from checkwatch.views.words import Here, harmless, inside, listed, plural, spoken

#: What would stand differently, by its name.
Changes = Sequence[tuple[str, Change[MachineStanding] | Change[PlaceStanding]]]


#: So much of what somebody gave as a reason is shown.
_REASON = 400

#: So many machines are named that would stand until another time.
_MOST = 10


def in_force(found: Course, here: Here) -> Report:
    """Since when the rules are in force, who adopted them and why."""
    rules = found.in_force
    return [f"In force since {here.when(rules.entry.at)}; {_adopted(rules, here)}."]


def to_come(known: Course, here: Here, replaced: Sequence[Rules] = ()) -> Report:
    """The rules that take over later but for those replaced, and how others are put in their
    place."""
    report: Report = []
    for rules in known.to_come:
        if rules in replaced:
            continue
        start = to_datetime(rules.entry.at, here.zone).isoformat()
        same = rules.entry.text == known.in_force.entry.text
        report += [
            "",
            f"Still to come: from {here.when(rules.entry.at)}, the rules of "
            f'"{_shown(rules.title)}"{", those in force now," if same else ""} take over; '
            f"{_adopted(rules, here)}. To have others then, adopt them from the same instant:",
            Command(f"checkwatch rules adopt FILE --from {start} --by WHO --why TEXT"),
        ]
    return report


def _adopted(rules: Rules, here: Here) -> str:
    entry = rules.entry
    who = f" by {_shown(entry.by)}" if entry.by else ""
    when = f" {here.moment(entry.recorded)}" if entry.recorded != entry.at else ""
    why = f': "{_shown(entry.note)}"' if entry.note else ""
    return f"adopted{who}{when} in entry {entry.seq}{why}"


def _shown(text: str) -> str:
    return harmless(text, _REASON)


def already(rules: Rules, known: Course, here: Here) -> Report:
    """That a rulebook is adopted already, so that nothing is written, and what is still to come."""
    begins = rules.entry.at
    when = f"{'since' if begins <= here.now else 'from'} {here.when(begins)}"
    text = f"These very rules are adopted already, in force {when}; {_adopted(rules, here)}."
    return [f"{text} Nothing was written.", *to_come(known, here)]


def preview(found: Adoption, known: Course, here: Here) -> Report:
    """What adopting would change, and what else is adopted and still to come."""
    replaced = [rules for rules in known.to_come if rules.entry.at == found.start]
    report = adoption(found, here)
    for rules in replaced:
        title, number = _shown(rules.title), rules.entry.seq
        text = (
            f'It takes the place of the rules of "{title}" from the same instant, entry {number}.'
        )
        report += ["", text]
    return report + to_come(known, here, replaced)


def adoption(found: Adoption, here: Here) -> Report:
    """Which machines and places would change standing and in which direction, what would last less
    long or longer, and which codes are lost."""
    report: Report = [f"In force from {here.when(found.start)}."]
    changed: dict[str, Changes] = {
        "machine": [(one.after.machine, one) for one in found.changes],
        "place": [(one.after.place, one) for one in found.places],
    }
    report += [_count(noun, changes) for noun, changes in changed.items()]
    report += [_count_shifts(found.shifts)] if found.shifts else []
    if less := _asks_for_less(found):
        report.append(f"Look twice at what {less}: there the new rules ask for less.")
    for noun, changes in changed.items():
        report += ["", _table(noun, changes)] if changes else []
    report += ["", _passes(found.passes)] if found.passes else []
    report += _shifts(found.shifts, here)
    for codes, cost in (
        (found.lost_checks, "their results count for nothing"),
        (found.lost_happenings, "they void every check before them"),
        (found.lost_place_kinds, "their places are unknown"),
    ):
        if codes:
            known = listed(harmless(code, 40) for code in codes)
            report += ["", f"No longer known, so {cost}: {known}."]
    return report


def _asks_for_less(found: Adoption) -> str:
    """What is to be looked at twice; empty for nothing."""
    directions = {one.direction for one in found.changes} | {one.direction for one in found.places}
    towards = Direction.TOWARDS in directions
    longer = any(one.later for one in found.passes) or any(not s.earlier for s in found.shifts)
    return listed(["leads towards use"] * towards + ["lasts longer"] * longer, "or")


def _count(noun: str, changes: Changes) -> str:
    if not changes:
        return f"No {noun} would change its standing."
    counts = Counter(change.direction for _, change in changes)
    told = ", ".join(f"{counts[one]} {one}" for one in Direction if counts[one])
    return f"{plural(len(changes), noun)} would change standing: {told}."


def _count_shifts(shifts: Sequence[Shift]) -> str:
    earlier = sum(shift.earlier for shift in shifts)
    counts = {"earlier": earlier, "later": len(shifts) - earlier}
    told = ", ".join(f"{count} {how}" for how, count in counts.items() if count)
    return (
        f"{plural(len(shifts), 'machine')} would stand as before, but until another time: {told}."
    )


def _passes(passes: Sequence[Passes]) -> Table:
    rows = tuple(
        (
            harmless(inside(one.check.title), 30),
            spoken(one.kind),
            str(one.earlier or ""),
            str(one.later or ""),
        )
        for one in passes
    )
    return Table(("passes of", "by machines of kind", "end earlier", "end later"), rows)


def _shifts(shifts: Sequence[Shift], here: Here) -> Report:
    """The first machines that would stand until another time."""
    rows = tuple(
        (
            shift.machine.machine,
            shift.machine.standing,
            here.local(shift.before),
            here.local(shift.after),
            "earlier" if shift.earlier else "later",
        )
        for shift in shifts[:_MOST]
    )
    heading = ("machine", "standing", "until so far", "by the new rules", "that is")
    more = [f"And {plural(n, 'more machine')}."] if (n := len(shifts) - _MOST) > 0 else []
    return ["", Table(heading, rows), *more] if rows else []


def _table(noun: str, changes: Changes) -> Table:
    rows = tuple(
        (name, change.before.standing, change.after.standing, change.direction.value)
        for name, change in changes
    )
    return Table((noun, "as adopted so far", "by the new rules", "which leads"), rows)
