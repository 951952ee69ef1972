"""How a logbook's tables came to be: one revision for each schema version."""
