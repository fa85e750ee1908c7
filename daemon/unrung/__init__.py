"""Unrung: matches till rings with metered draught pours."""

from zoneinfo import reset_tzpath

__version__ = "0.1.0"

# Zone rules come from the tzdata package alone, never from the PC: an older copy there would give
# another business day, and the same input must give the same files everywhere.
reset_tzpath(to=())
