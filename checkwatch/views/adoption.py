"""What adopting a rulebook would change, in words."""

from __future__ import annotations

from collections.abc import Sequence

from checkwatch.answers.adoption import Adoption, Change
from checkwatch.core.place import PlaceStanding
from checkwatch.core.standing import MachineStanding
from checkwatch.views.report import Report, Table
from checkwatch.views.words import Here, harmless, listed, plural

#: What would stand differently, by its name.
Changes = Sequence[tuple[str, Change[MachineStanding] | Change[PlaceStanding]]]


def adoption(found: Adoption, here: Here) -> Report:
    """Which machines and places would change standing and in which direction, and which codes are
    lost."""
    report: Report = [f"In force from {here.when(found.start)}."]
    changed: dict[str, Changes] = {
        "machine": [(one.after.machine, one) for one in found.changes],
        "place": [(one.after.place, one) for one in found.places],
    }
    report += [_count(noun, changes) for noun, changes in changed.items()]
    for noun, changes in changed.items():
        report += ["", _table(noun, changes)] if changes else []
    for codes, cost in (
        (found.lost_checks, "their results count for nothing"),
        (found.lost_happenings, "they void every check before them"),
        (found.lost_place_kinds, "their places are unknown"),
    ):
        if codes:
            known = listed(harmless(code, 40) for code in codes)
            report += ["", f"No longer known, so {cost}: {known}."]
    return report


def _count(noun: str, changes: Changes) -> str:
    if not changes:
        return f"No {noun} would change its standing."
    better = sum(change.better for _, change in changes)
    return (
        f"{plural(len(changes), noun)} would change standing: {better} for the better, "
        f"{len(changes) - better} for the worse."
    )


def _table(noun: str, changes: Changes) -> Table:
    rows = tuple(
        (
            name,
            change.before.standing,
            change.after.standing,
            "better" if change.better else "worse",
        )
        for name, change in changes
    )
    return Table((noun, "by the rules in force", "by the new", "which is"), rows)
