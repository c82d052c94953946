"""Where the book is: said with --db, in the environment, or in the user's data folder."""

from __future__ import annotations

import os
from pathlib import Path


def book_url(given: str | None) -> str:
    """An SQLAlchemy URL, or a path, which means SQLite."""
    return given or os.environ.get("CHECKWATCH_DB") or str(_default())


def _default() -> Path:
    # Imported here: who names a book does not need it.
    from platformdirs import user_data_path

    return user_data_path("checkwatch", appauthor=False) / "book.db"
