"""How clear of noise a finding must stand, and how sure one that does is.

Each finding looks at many places on every day. The chance that noise alone raises any of them is
kept below ``FALSE_PER_MONTH`` in a venue-month by sharing it out (Bonferroni): over the findings, and
over the places that one of them looks at. Days are not shared out: each day looks at nearly the same
28 days as the day before.
"""

from __future__ import annotations

from unrung.ledger.results import Confidence

FALSE_PER_MONTH = 0.05
FINDERS = 15
SURE = 1e-6
"""Below this chance a finding is ``high``."""
US_FL_OZ_UL = 29_573.5295625


def level(places: int) -> float:
    """The chance that noise may have of raising a finding at one of ``places``.

    >>> round(level(10), 6)
    0.000333
    """
    return FALSE_PER_MONTH / FINDERS / max(1, places)


def confidence(chance: float, places: int) -> Confidence:
    """Of a finding that noise alone would show with ``chance`` at one of ``places``."""
    return "high" if chance * FINDERS * max(1, places) < SURE else "medium"


def ounces(amount: float) -> float:
    """US fluid ounces in microlitres."""
    return amount * US_FL_OZ_UL
