"""bladerig: measured tests on knife edges, from bytes on a wire to a page a sceptic reads."""

__version__ = "0.1.0"
