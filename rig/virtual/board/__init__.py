"""The board, once more in Python: the same bytes as the firmware, in virtual time."""
