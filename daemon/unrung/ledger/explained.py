"""What a finding's rows explain of a day, together."""

from __future__ import annotations

from collections.abc import Sequence

from unrung.finding_names import OTHER_NAMES
from unrung.ledger.results import FindingRow


def explained_ul(rows: Sequence[FindingRow]) -> int:
    """Microlitres, of one finding's rows (at least one): over less short; of beer under another name what
    changed it, the larger of the two."""
    over, short = (sum(max(0, sign * row.volume_ul) for row in rows) for sign in (1, -1))
    return max(over, short) if rows[0].finding in OTHER_NAMES else over - short
