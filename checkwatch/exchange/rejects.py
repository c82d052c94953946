"""The rows that an import left out, as they stood in the file, each with its reason."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from typing import TextIO

from checkwatch.exchange.logbook import COLUMNS
from checkwatch.exchange.sheet import rows

#: Behind the columns of a logbook file; a file that was put right may keep it.
REASON = "reason"


def write_rejects(source: TextIO, where: str, reasons: Mapping[int, str], stream: TextIO) -> None:
    """Copies the rows of a logbook file whose line numbers have a reason.

    A row that could not be taken apart has only its reason: its cells are not known.
    """
    writer = csv.DictWriter(stream, (*COLUMNS.names, REASON), restval="")
    writer.writeheader()
    for row in rows(source, where, COLUMNS):
        if row.line in reasons:
            writer.writerow({**row.cells, REASON: reasons[row.line]})
