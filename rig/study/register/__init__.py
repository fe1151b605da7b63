"""What a study has on record: blades, conditions, codes, order, trials, and what went wrong."""
