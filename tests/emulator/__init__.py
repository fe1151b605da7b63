"""The real firmware, executed instruction by instruction."""
