"""The append-only book on SQLite or PostgreSQL: tables, guards, the journal, migrations."""
