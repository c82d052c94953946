"""checkwatch: which machines have a check that still counts, until when and with which limits."""
