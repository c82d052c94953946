"""Who may write what, what a PIN stands for, and what is fitted to machines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from checkwatch.core.entry import RESERVED
from checkwatch.core.gtin import check_digit, check_digit_fits, has_14_digits
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.rulebook import Item, Role, Rulebook
from checkwatch.rules.table import Table, code_of

#: What a role may be needed for beside codes and reserved words: a striking that restores, and the
#: adoption of a rulebook.
ACTS = ("restore", "adopt")

#: What makes an answer worse, or is written in an emergency: nobody may be kept from it
#: (answers/people.py has the same as types). So it is with happenings; of these, of a move and of a
#: reading one that was not written leaves a machine cleared.
FOR_EVERYBODY = (
    *("exception", "fault", "withdrawn", "note", "case-start", "case-end", "struck"),
    *("moved", "reading"),
)

#: What nobody writes by hand.
_BY_ITSELF = ("enrolled", "restored")


def read_roles(tables: Iterable[Table]) -> list[tuple[Table, Role]]:
    """The roles, each with where it stands."""
    found: list[tuple[Table, Role]] = []
    for table in tables:
        code, title = code_of(table), table.text("title", required=True)
        role = Role(code, title, table.texts("may", required=True))
        table.finish()
        if any(code == other.code for _, other in found):
            table.note("code", f"{quoted(code)} is the code of another role", "rename one")
        found.append((table, role))
    return found


def read_signatures(table: Table | None) -> dict[str, str]:
    """What a PIN stands for, by the word that it is asked for."""
    if table is None:
        return {}
    words = table.keys()
    return {word: meaning for word in words if (meaning := table.text(word, required=True))}


def read_items(tables: Iterable[Table]) -> list[tuple[str, Item]]:
    """What is fitted to machines, each with where it stands; no two items share a GTIN."""
    found: list[tuple[str, Item]] = []
    first: dict[str, Table] = {}
    for table in tables:
        title = table.text("title", required=True)
        gtins = tuple(g for g in table.texts("gtins", required=True) if _is_gtin(table, g))
        happening = code_of(table, "happening")
        table.finish()
        for gtin in gtins:
            if gtin in first:
                where = "here" if first[gtin] is table else "in another item"
                table.note("gtins", f"{gtin} stands {where} already", "keep one")
            first.setdefault(gtin, table)
        if happening:
            found.append((table.where, Item(title, gtins, happening)))
    return found


def _is_gtin(table: Table, text: str) -> bool:
    """Whether it has 14 digits of which the last one checks the others."""
    if not has_14_digits(text):
        remedy = "write 14 digits, with zeros before a shorter number"
        table.note("gtins", f"{quoted(text)} is no GTIN of 14 digits", remedy)
        return False
    if not check_digit_fits(text):
        what = f"the last digit of {text} does not check: it would be {check_digit(text[:-1])}"
        table.note("gtins", what, "compare it with the label")
        return False
    return True


def look_at_words(
    rulebook: Rulebook, roles: Iterable[tuple[Table, Role]], signatures: Table | None
) -> None:
    """Notes what roles and signatures say of words that nobody may be kept from, or that are
    none."""
    for table, role in roles:
        for word in role.may:
            for what, remedy in _wrong(word, rulebook):
                table.note("may", what, remedy)
    for word in rulebook.signatures:
        for what, remedy in _wrong(word, rulebook):
            assert signatures is not None, "a signature stands in the table"
            signatures.note(word, what, remedy)


def _wrong(word: str, rulebook: Rulebook) -> Iterator[tuple[str, str]]:
    if word in FOR_EVERYBODY or word in rulebook.happenings:
        yield f"{quoted(word)} makes nothing cleared: nobody is kept from it", "take it out"
        return
    words = [w for w in RESERVED if w not in (*FOR_EVERYBODY, *_BY_ITSELF)]
    known = [*rulebook.checks, *words, *ACTS]
    if word not in known:
        remedy = nearest(
            word, known, f"write a check's code, or one of {', '.join([*words, *ACTS])}"
        )
        yield f"{quoted(word)} is nothing that is written", remedy
