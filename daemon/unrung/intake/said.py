"""What is said of an export that was taken in, wherever it is said."""

from __future__ import annotations

from unrung.store.sources import SourceRow


def rows_came(source: SourceRow) -> str:
    """How many rows it brought, and how many earlier ones do not hold since."""
    lost = f", {source.superseded} earlier ones replaced or gone" if source.superseded else ""
    return f"{source.new_rows} new rows{lost}"
