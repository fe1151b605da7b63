"""Frames, link, ports and flashing."""
