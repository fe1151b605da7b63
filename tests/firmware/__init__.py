"""Tests of the firmware's logic, header and image."""
