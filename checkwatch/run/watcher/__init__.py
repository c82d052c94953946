"""The watcher: looks at the book, decides what to tell, and hands it over."""
