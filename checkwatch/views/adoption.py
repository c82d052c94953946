"""What adopting a rulebook would change, in words."""

from __future__ import annotations

from checkwatch.answers.adoption import Adoption
from checkwatch.views.report import Report, Table
from checkwatch.views.words import Here, listed, plural


def adoption(found: Adoption, here: Here) -> Report:
    """Which machines would change standing and in which direction, and which codes are lost."""
    report: Report = [f"In force from {here.when(found.start)}."]
    if found.changes:
        better = sum(change.better for change in found.changes)
        worse = len(found.changes) - better
        report.append(
            f"{plural(len(found.changes), 'machine')} would change standing: {better} for the "
            f"better, {worse} for the worse."
        )
        rows = tuple(
            (
                change.after.machine,
                change.before.standing,
                change.after.standing,
                "better" if change.better else "worse",
            )
            for change in found.changes
        )
        report += ["", Table(("machine", "by the rules in force", "by the new", "which is"), rows)]
    else:
        report.append("No machine would change its standing.")
    if found.lost_checks:
        codes = listed(found.lost_checks)
        report += ["", f"No longer known, so their results count for nothing: {codes}."]
    if found.lost_happenings:
        codes = listed(found.lost_happenings)
        report += ["", f"No longer known, so they void every check before them: {codes}."]
    return report
