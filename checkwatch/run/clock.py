"""The one place that asks what time it is."""

from __future__ import annotations

import time

from checkwatch.core.instant import Instant


def now() -> Instant:
    """The present by this computer's clock, to the microsecond."""
    return Instant(time.time_ns() // 1000)
