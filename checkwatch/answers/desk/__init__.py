"""Writing at a shared screen, with a scanner or without one: what each line does."""
