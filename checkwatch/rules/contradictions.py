"""What the parts of a rulebook say against each other: each is a mistake."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from checkwatch.core.entry import RESERVED
from checkwatch.core.mistake import cut, nearest, quoted
from checkwatch.core.rulebook import VOIDING_WORDS, VOIDS_GATES, Check, Rulebook, UntilExpiry
from checkwatch.errors import Problem
from checkwatch.rules.table import one_of
from checkwatch.rules.written import Written, WrittenCheck


def contradictions(written: Written) -> tuple[Problem, ...]:
    """Every contradiction, in the order of the rulebook."""
    rulebook = written.rulebook
    found: list[Problem] = []
    for place, check, _ in written.checks:
        found += _voiding(check, rulebook, place)
        found += _covers(check, rulebook, place)
    found += _expiring(written)
    found += _circles(written.checks)
    found += _units(written.checks)
    found += _needs(written)
    return tuple(found)


def _voiding(check: Check, rulebook: Rulebook, place: str) -> Iterator[Problem]:
    known = (*rulebook.happenings, *VOIDING_WORDS)
    for word in check.voided_by:
        if word not in known:
            what = f"{quoted(word)} names no happening{_but(word, rulebook)}"
            yield Problem(f"{place}: voided_by", what, nearest(word, known, one_of(VOIDING_WORDS)))
    for word in check.survives:
        if word not in VOIDS_GATES:
            what = f"{quoted(word)} voids no gate unasked"
            yield Problem(f"{place}: survives", what, one_of(VOIDS_GATES))
        elif word in check.voided_by:
            what = f"{quoted(word)} stands in voided_by too"
            yield Problem(f"{place}: survives", what, "take it out of one of them")


def _expiring(written: Written) -> Iterator[Problem]:
    """What clauses and items say of happenings."""
    rulebook, known = written.rulebook, written.rulebook.happenings
    for place, check, _ in written.checks:
        for clause in check.validity:
            if isinstance(clause, UntilExpiry):
                yield from _fitting(clause.happening, rulebook, f"{place}: valid_until_expiry")
                if clause.happening in known and clause.happening not in check.voided_by:
                    what = f"{quoted(clause.happening)} does not void it: nothing new would count"
                    yield Problem(f"{place}: valid_until_expiry", what, "add it to voided_by")
    for place, item in written.items:
        yield from _fitting(item.happening, rulebook, f"{place}: happening")


def _fitting(code: str, rulebook: Rulebook, place: str) -> Iterator[Problem]:
    if code not in rulebook.happenings:
        what = f"{quoted(code)} names no happening{_but(code, rulebook)}"
        remedy = nearest(code, rulebook.happenings, "write the code of a [[happening]]")
        yield Problem(place, what, remedy)


def _but(word: str, rulebook: Rulebook) -> str:
    if word in rulebook.checks:
        return ": it is a check"
    return ": it is a word that voids nothing" if word in RESERVED else ""


def _covers(check: Check, rulebook: Rulebook, place: str) -> Iterator[Problem]:
    for code in check.covers:
        covered = rulebook.checks.get(code)
        if covered is None:
            what = f"{quoted(code)} names no check"
            remedy = nearest(code, rulebook.checks, "write its check, or take it out")
            yield Problem(f"{place}: covers", what, remedy)
        elif not set(check.kinds) & set(covered.kinds) and check.kinds and covered.kinds:
            what = f"{quoted(code)} is for other kinds of machine: {cut(', '.join(covered.kinds))}"
            yield Problem(f"{place}: covers", what, "no machine needs both: take it out")


def _circles(checks: Sequence[WrittenCheck]) -> Iterator[Problem]:
    """Each circle of covering once, at the first check of it."""
    covered: dict[str, tuple[str, ...]] = {}
    for _, check, _ in checks:
        covered[check.code] = (*covered.get(check.code, ()), *check.covers)
    told: set[str] = set()
    for place, check, _ in checks:
        way = _way_back(check.code, covered)
        if way and not told.intersection(way):
            told.update(way)
            what = f"goes round in a circle: {' covers '.join(map(cut, (*way, check.code)))}"
            yield Problem(f"{place}: covers", what, "take one out")


def _way_back(code: str, covers: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """The shortest way from a check through what it covers back to it; empty if none."""
    ways: list[tuple[str, ...]] = [(code,)]
    seen: set[str] = set()
    for way in ways:
        for covered in covers.get(way[-1], ()):
            if covered == code:
                return way
            if covered not in seen:
                seen.add(covered)
                ways.append((*way, covered))
    return ()


def _units(checks: Sequence[WrittenCheck]) -> Iterator[Problem]:
    first: dict[str, tuple[str, str]] = {}
    for place, check, _ in checks:
        for code, measure in check.measures.items():
            unit, owner = first.setdefault(code, (measure.unit, check.code))
            if measure.unit and unit and measure.unit != unit:
                what = f"is {quoted(measure.unit)} here and {quoted(unit)} in check {cut(owner)}"
                spot = f"{place}: measure {cut(code)}: unit"
                yield Problem(spot, what, "use one unit, or another code for one of them")


def _needs(written: Written) -> Iterator[Problem]:
    for place, place_kind in written.place_kinds:
        for kind in dict.fromkeys(place_kind.needs):
            if kind not in written.kinds:
                what = f"{quoted(kind)} is a kind of machine that no check names"
                remedy = nearest(kind, written.kinds, "add its checks")
                yield Problem(f"{place}: needs", what, remedy)
