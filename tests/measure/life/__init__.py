"""Edge lives: fits, comparisons, schedules and rules."""
