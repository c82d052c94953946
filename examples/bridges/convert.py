"""Writes fleet.csv and logbook.csv from the yearly submissions of the bridge inventory.

A duty is one part of a bridge and the interval at which the inventory wants it inspected. While
the inventory states the same interval, it is one machine of the fleet; README.md says why. What
cannot be taken as it stands is told on standard error, with what was made of it:

    python examples/bridges/convert.py OUT_DIR
"""

from __future__ import annotations

import csv
import sys
from calendar import monthrange
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path

SOURCE = Path(__file__).with_name("nbi_718_bridges_1997_2025.csv")

FLEET = ("tag", "kind", "model", "serial", "place", "place_kind", "commissioned")
LOGBOOK = (
    *("machine", "what", "at", "started", "outcome", "measures", "limits"),
    *("until", "place", "of", "by", "decided", "note", "ref"),
)

#: Inspection type: its columns' prefix, and the kind of the part that it looks at.
TYPES = {
    "routine": ("routine", "bridge"),
    "fracture-critical": ("fracture", "fracture-critical-part"),
    "underwater": ("underwater", "underwater-part"),
    "special": ("special", "special-part"),
}

Row = dict[str, str]


@dataclass
class Duty:
    """One part of a bridge under one interval.

    `shown` holds, for each month in which it was inspected, the submissions that state it;
    `struck` the submission that took a month back.
    """

    tag: str
    type: str
    months: str
    commissioned: str
    shown: dict[str, list[str]] = field(default_factory=dict)
    struck: dict[str, str] = field(default_factory=dict)
    retired: str = ""


def month_end(month: str) -> str:
    """The last minute of a month: by then an inspection of that month has surely been made."""
    year, number = map(int, month.split("-"))
    return f"{month}-{monthrange(year, number)[1]}T23:59:00Z"


def new_year(year: str) -> str:
    """When a submission begins to count; the inventory gives it no day."""
    return f"{year}-01-01T00:00:00Z"


def tell(row: Row, what: str) -> None:
    """One line on standard error."""
    where = f"line {row['line']}: {row['bridge_id']} in {row['submission_year']}"
    print(f"{where}: {what}", file=sys.stderr)


def duties_of(rows: Iterable[Row], type_: str) -> list[Duty]:
    """The duties of one type of inspection of one bridge, in order; only the last can be open."""
    duties: list[Duty] = []
    for row in rows:
        prefix, year = TYPES[type_][0], row["submission_year"]
        months, last = row[f"{prefix}_interval_months"], row[f"{prefix}_last"]
        duty = duties[-1] if duties and not duties[-1].retired else None
        if not months:
            if duty:
                tell(row, f"{type_} is no longer stated; retired")
                duty.retired = new_year(year)
            continue
        if not last:
            tell(row, f"{type_} is stated without a date; owed, no inspection written")
        if duty is None or duty.months != months:
            duty = succeed(duties, row, type_, months, last)
        if last:
            show(duty, row, last)
    return duties


def succeed(duties: list[Duty], row: Row, type_: str, months: str, last: str) -> Duty:
    """Begins a duty; one that it replaces ends with the inspection that brought the change."""
    old, year = duties[-1] if duties else None, row["submission_year"]
    begins = month_end(last) if last else new_year(year)
    if old and old.retired:
        tell(row, f"{type_} is stated again; a new tag")
    elif old and (not last or last in old.shown):
        tell(row, f"{type_}: {old.months} months become {months}, no inspection; a new tag")
        old.retired = new_year(year)
    elif old:
        old.retired = begins
    number = f" {len(duties) + 1}" if duties else ""
    duties.append(Duty(f"{row['bridge_id']} {type_}{number}", type_, months, begins))
    return duties[-1]


def show(duty: Duty, row: Row, last: str) -> None:
    """Notes an inspection, and takes back those that a later submission no longer knows."""
    for month in duty.shown:
        if month > last and month not in duty.struck:
            tell(row, f"{duty.type} goes back from {month} to {last}; {month} is struck")
            duty.struck[month] = row["submission_year"]
    duty.commissioned = min(duty.commissioned, month_end(last))
    duty.shown.setdefault(last, []).append(row["submission_year"])


def tell_gaps(rows: list[Row]) -> None:
    """Submissions that are missing between two others: an inspection may be missing with them."""
    years = [int(row["submission_year"]) for row in rows]
    for before, after, row in zip(years, years[1:], rows[1:], strict=False):
        if after > before + 1:
            tell(row, f"no submission since {before}; inspections between may be missing")


def fleet_row(duty: Duty, place: str, place_kind: str) -> Row:
    """A duty as a machine."""
    values = duty.tag, TYPES[duty.type][1], f"every-{duty.months}-months", "", place, place_kind
    return dict(zip(FLEET, (*values, duty.commissioned), strict=True))


def entries(duty: Duty) -> Iterator[Row]:
    """What the logbook says of a duty. The inventory knows no outcome: inspected is passed."""
    for month, years in duty.shown.items():
        what, ref = f"{duty.type}-{duty.months}", f"{duty.tag} {month}"
        row = {"machine": duty.tag, "what": what, "at": month_end(month), "outcome": "pass"}
        yield row | {"note": f"submissions {' '.join(years)}", "ref": ref}
        if month in duty.struck:
            note = f"submission {duty.struck[month]} states an earlier date"
            strike = {"what": "struck", "at": new_year(duty.struck[month]), "outcome": "restores"}
            yield {"machine": duty.tag, **strike, "of": ref, "note": note, "ref": f"{ref} struck"}
    if duty.retired:
        ref = f"{duty.tag} retired"
        yield {"machine": duty.tag, "what": "retired", "at": duty.retired, "ref": ref}


def convert(rows: Iterable[Row]) -> tuple[list[Row], list[Row]]:
    """The fleet and the logbook, the logbook in order of time."""
    fleet: list[Row] = []
    logbook: list[Row] = []
    for bridge, group in groupby(rows, key=lambda row: row["bridge_id"]):
        submissions = list(group)
        tell_gaps(submissions)
        duties = [duty for type_ in TYPES for duty in duties_of(submissions, type_)]
        stated = [duty.type for duty in duties if not duty.retired]
        place_kind = "-".join(stated).replace("routine", "bridge")
        fleet += [fleet_row(duty, bridge, place_kind) for duty in duties]
        logbook += [row for duty in duties for row in entries(duty)]
    return fleet, sorted(logbook, key=lambda row: row["at"])


def read() -> Iterator[Row]:
    """The submissions, each with its line in the file."""
    with SOURCE.open(encoding="utf-8", newline="") as stream:
        reader = csv.DictReader(stream)
        for row in reader:
            yield row | {"line": str(reader.line_num)}


def write(path: Path, columns: Sequence[str], rows: list[Row]) -> None:
    """One CSV file."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """Reads the one argument and writes both files there."""
    if len(sys.argv) != 2:
        sys.exit("convert.py: needs one folder to write to; type python convert.py OUT_DIR")
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    fleet, logbook = convert(read())
    write(folder / "fleet.csv", FLEET, fleet)
    write(folder / "logbook.csv", LOGBOOK, logbook)


if __name__ == "__main__":
    main()
