"""Examples worked by hand are asked twice: of the oracle, and of the program."""

from __future__ import annotations

import pytest

from tests.oracle import builder


@pytest.fixture(params=["the oracle", "the program"])
def answered_by(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Puts the program's answers where the oracle's are asked for."""
    if request.param == "the oracle":
        return
    from tests.laws import program

    for answer in program.ANSWERS:
        for module in (builder, request.module):
            if hasattr(module, answer.__name__):
                monkeypatch.setattr(module, answer.__name__, answer)
