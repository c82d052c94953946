"""Values shown: sentences, tables, JSON, CSV, the board. Knows answers, knows no store."""
