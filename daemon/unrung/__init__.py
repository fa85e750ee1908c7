"""Unrung: matches till rings with metered draught pours."""

__version__ = "0.1.0"
