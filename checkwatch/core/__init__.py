"""What is computed: pure functions from entries and rules to windows and standings.

Nothing in here knows a clock, a database, a file or a console; the instant is always an argument.
docs/meaning.md is the definition that this code follows.
"""
