"""The drop tower as physics, with a person at it."""
