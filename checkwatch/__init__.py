"""checkwatch: which machines have a check that still counts, until when and with which limits."""

__version__ = "0.1.0"
