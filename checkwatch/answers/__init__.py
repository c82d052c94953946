"""One file, one question: a frozen value from the book and the rules at an instant. Pure."""
