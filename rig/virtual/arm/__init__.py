"""The pry and twist jig as physics, with a person at it."""
