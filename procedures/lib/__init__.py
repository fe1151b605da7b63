"""Passages that several procedures share."""
