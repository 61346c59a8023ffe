"""stemrig: the test-stand controller (see DEVELOPERS.md for the rooms)."""

__version__ = "0.1.0"
