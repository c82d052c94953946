"""Other people's formats: the logbook, fleet and places files (CSV)."""
