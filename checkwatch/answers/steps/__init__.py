"""Being led through a check: which question comes next, what a line that was typed does, and what
it all comes to. Pure: the same lines at the same instants give the same end."""
