"""What is fitted, in words: an item by its label, and which machines have or had a lot."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import date

from checkwatch.answers.fitted import Lot, Stay
from checkwatch.core.entry import Happening
from checkwatch.core.instant import BEGINNING
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.wording import MONTHS
from checkwatch.views.report import Report, Table
from checkwatch.views.words import Here, harmless, inside, listed, plural

CAUTION = (
    "The book knows what was written. It does not know what lies in a store; and of a machine that "
    "holds two of a kind, what is said to be gone may be there still: look there, too."
)


def item(fitted: Happening, rulebook: Rulebook | None) -> str:
    """An item by what its label says: "absorbent, fine, lot 7A23, good to 31 Dec 2027"."""
    lot_text = f"lot {harmless(fitted.lot, 64)}" if fitted.lot else ""
    parts = [_title(fitted, rulebook), lot_text, _serial(fitted), _good_to(fitted)]
    return ", ".join(filter(None, parts))


def day(on: date) -> str:
    """A day as people read it: "31 Dec 2027"."""
    return f"{on.day} {MONTHS[on.month - 1]} {on.year}"


def _title(fitted: Happening, rulebook: Rulebook | None) -> str:
    known = rulebook.item_of(fitted.gtin) if rulebook else None
    if known:
        return inside(harmless(known.title, 60))
    if fitted.gtin:
        return f"item {harmless(fitted.gtin, 20)}"
    titles = rulebook.happenings if rulebook else {}
    return f'"{harmless(titles.get(fitted.code, fitted.code), 60)}"'


def _serial(fitted: Happening) -> str:
    return f"serial {harmless(fitted.serial, 64)}" if fitted.serial else ""


def _good_to(fitted: Happening) -> str:
    return f"good to {day(fitted.expiry)}" if fitted.expiry else ""


def also_on(stays: Sequence[Stay], here: Here) -> str:
    """Where else an item with this serial number is said to be."""
    there = listed(
        f"{stay.machine} (entry {stay.fittings[0].seq}, {here.moment(stay.start)})"
        for stay in stays
    )
    return (
        f"by the book the item with this serial number is on {there}, too; strike the entry that "
        "is wrong, or write what has taken its place there"
    )


def already(stay: Stay, here: Here) -> str:
    """That the same item is there by the book."""
    return f"already fitted since {here.local(stay.start)}, entry {stay.fittings[0].seq}"


def lot(answer: Lot, here: Here) -> Report:
    """A sentence, the machines that have or had it, and those of which nobody knows."""
    kinds = {_kind(stay, answer) for stay in answer.stays}
    report: Report = [_head(answer, kinds)]
    if answer.others:
        report.append(_others(answer))
    if answer.doubts:
        report.append(f"The book is not believed: {listed(answer.doubts)}.")
    if answer.stays:
        several = len(kinds) > 1
        rows = tuple(
            (*_where(stay, here), ", ".join([*several * [_kind(stay, answer)], *_what(stay)]))
            for stay in answer.stays
        )
        report += ["", Table(("machine", "place", "fitted", "until", "what"), rows)]
    if answer.unknown:
        heading = ("machine", "place", "from", "until", "what is written")
        report += ["", _not_known(answer, here), Table(heading, tuple(_unlabelled(answer, here)))]
    elif not answer.asked_of:
        report.append("It knows no lot of anything, and no item by its label.")
    return [*report, "", CAUTION]


def _kind(stay: Stay, answer: Lot) -> str:
    """What all items of a lot are alike in, as a rule."""
    fitted = stay.fittings[0]
    return ", ".join(filter(None, [_title(fitted, answer.rulebook), _good_to(fitted)]))


def _head(answer: Lot, kinds: Collection[str]) -> str:
    name = harmless(answer.lot, 64)
    have = {stay.machine for stay in answer.stays if stay.still}
    had = {stay.machine for stay in answer.stays} - have
    if not answer.stays:
        return f"By the book no machine has or had lot {name}."
    number = plural(len(have), "machine") if have else "no machine"
    said = f"By the book {number} {'have' if len(have) > 1 else 'has'} lot {name}"
    said += f", and {len(had)} had it" if had else ""
    return f"{said}: {listed(kinds)}." if len(kinds) == 1 else f"{said}."


def _others(answer: Lot) -> str:
    names = [f'"{harmless(other, 64)}"' for other in answer.others]
    if answer.stays:
        return f"Spelt otherwise, and perhaps the same: {listed(names)}. Ask for that, too."
    return f"Did you mean {listed(names, 'or')}?"


def _not_known(answer: Lot, here: Here) -> str:
    number = len({stay.machine for stay in answer.unknown})
    meanwhile = "" if answer.since == BEGINNING else f" since {here.local(answer.since)}"
    return (
        f"Not known: of {plural(number, 'machine')} the book does not say which lot was "
        f"fitted{meanwhile}. {'It' if number == 1 else 'They'} may have it, or have had it."
    )


def _where(stay: Stay, here: Here) -> tuple[str, ...]:
    place = "retired" if stay.retired else harmless(stay.places[-1] if stay.places else "", 24)
    until = "still there" if stay.still else here.local(stay.until)
    return (stay.machine, place, here.local(stay.start), until)


def _what(stay: Stay) -> Iterator[str]:
    fitted = stay.fittings[0]
    if fitted.serial:
        yield _serial(fitted)
    yield from _before(stay)
    yield f"entry {fitted.seq}"
    if stay.struck:
        yield "struck as written in error"


def _unlabelled(answer: Lot, here: Here) -> Iterator[tuple[str, ...]]:
    """The rows of what no lot is known of; what fills the same time on a machine is one row."""
    rows: dict[tuple[str, ...], list[str]] = {}
    for stay in answer.unknown:
        rows.setdefault(_where(stay, here), []).append(_written(stay))
    for where, written in rows.items():
        yield (*where, "; ".join(written))


def _written(stay: Stay) -> str:
    code = harmless(stay.code, 40)
    if not stay.fittings:
        return ", ".join([f"no {code}", *_before(stay)])
    times = "" if len(stay.fittings) == 1 else f"{len(stay.fittings)} times "
    last = "entry" if len(stay.fittings) == 1 else "the last is entry"
    said = [f"{code} {times}without a lot", *_before(stay), f"{last} {stay.fittings[-1].seq}"]
    return ", ".join(said)


def _before(stay: Stay) -> Iterable[str]:
    """Where the machine stood before, if it was moved meanwhile."""
    if len(stay.places) > 1:
        yield f"before in {listed(dict.fromkeys(harmless(p, 24) for p in stay.places[:-1]))}"
