"""A suite with its book on both databases, and processes that begin in no time."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.notices.service import Nursery, Suite, made, nursery
from tests.post_office import Office, post_office


@pytest.fixture(scope="session")
def _processes() -> Iterator[Nursery]:
    with nursery() as found:
        yield found


@pytest.fixture
def processes(_processes: Nursery) -> Iterator[Nursery]:
    yield _processes
    _processes.clear()


@pytest.fixture
def on_both(book: str, tmp_path: Path, processes: Nursery) -> Suite:
    """A suite in SQLite, and one in PostgreSQL."""
    return made(book, tmp_path, processes, 320 if os.environ.get("CHECKWATCH_LONG") else 20)


@pytest.fixture
def service(tmp_path: Path, processes: Nursery) -> Suite:
    """A suite in SQLite."""
    from checkwatch.store import migrate

    url = str(tmp_path / "book.db")
    migrate.create(url)
    return made(url, tmp_path, processes)


@pytest.fixture
def office() -> Iterator[Office]:
    with post_office() as found:
        yield found
