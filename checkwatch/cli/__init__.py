"""The commands: read arguments, ask, show, exit code. Rules and sentences live elsewhere."""
