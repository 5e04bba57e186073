"""Trayside: the working system of a core yard."""

__version__ = "0.1.0"
