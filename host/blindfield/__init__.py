"""Blindfield: a practice field of buried 457 kHz targets that sets its own problems."""

__version__ = "0.1.0"
