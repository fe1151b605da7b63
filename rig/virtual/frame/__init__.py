"""The cutting frame as physics, with a person at it."""
