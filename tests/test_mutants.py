"""The changes that no test notices are ones that can be made today, each once, with its reason."""

from __future__ import annotations

from collections import Counter

from tests.mutants import FILES, ROOT, mutants
from tests.outside.evidence import SURVIVORS


def test_each_survivor_is_a_change_that_can_be_made() -> None:
    """Where the engine was written anew its reason may be wrong: run `python -m tests.mutants`."""
    made = {
        (file, mutant.where, mutant.change)
        for file in FILES
        for mutant in mutants((ROOT / file).read_text(encoding="utf-8"))
    }
    listed = Counter((one["file"], one["where"], one["change"]) for one in SURVIVORS["survivor"])
    assert set(listed) <= made
    assert set(listed.values()) == {1}
    assert all(one["reason"] for one in SURVIVORS["survivor"])
    assert list(SURVIVORS["made"]) == list(FILES)


def test_every_kind_of_change_is_made_once() -> None:
    source = """
def late(a, b):
    try:
        if not a or a < 2:
            return min(a + b, *(c for c in b if c is a))
    except (ValueError, TypeError):
        return 'x' in a
LINES = (lambda m: m.open,)
"""
    assert [(one.where, one.change) for one in mutants(source)] == [
        ("late", "a < 2 -> a < 1"),
        ("late", "a < 2 -> a < 3"),
        ("late", "a < 2 -> a <= 2"),
        ("late", "a < 2 -> a >= 2"),
        ("late", "not a -> a"),
        ("late", "not a or a < 2 -> False"),
        ("late", "not a or a < 2 -> True"),
        ("late", "not a or a < 2 -> a < 2"),
        ("late", "not a or a < 2 -> not a"),
        ("late", "not a or a < 2 -> not a and a < 2"),
        ("late", "a + b -> a - b"),
        ("late", "c is a -> True"),
        ("late", "c is a -> c is not a"),
        ("late", "min(a + b, *(c for c in b if c is a)) -> max(a + b, *(c for c in b if c is a))"),
        ("late", "(ValueError, TypeError) -> ()"),
        ("late", "'x' in a -> 'x' not in a"),
        ("the file", "m.open -> False"),
    ]
