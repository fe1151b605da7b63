"""Every board against the same checks."""
