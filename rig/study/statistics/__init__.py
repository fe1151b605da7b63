"""Values in, estimates and verdicts out: nothing here knows of a logbook or of the report."""
