"""The outside world: the clock, the settings, and the one place where all parts meet."""
