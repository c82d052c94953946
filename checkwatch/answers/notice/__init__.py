"""What to tell whom, and why: the notices that the watcher and `send` hand over."""
