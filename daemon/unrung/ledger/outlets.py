"""What the exports call an outlet, to the outlet or pool that the ledger keeps."""

from __future__ import annotations

from unrung.settings import Settings


class Outlets:
    """The outlets of ``taps.csv``, each with the pool that it belongs to.

    >>> from unrung.settings import TapRow, Venue
    >>> venue = Venue(name="", timezone="UTC")
    >>> taps = (TapRow(tap="1", outlet="Long Bar", product="Amber"),)
    >>> outlets = Outlets(Settings(venue=venue, feed=(), taps=taps))
    >>> outlets.of("long bar"), outlets.of(""), outlets.of("Kiosk"), outlets.knows("Kiosk")
    ('Long Bar', 'Long Bar', 'Kiosk', False)
    """

    def __init__(self, settings: Settings) -> None:
        self._own = {_key(row.outlet): row.outlet for row in settings.taps}
        self._by_name = dict(self._own)
        for pool in settings.pool:
            self._by_name.update({_key(outlet): pool.name for outlet in pool.outlets})
        self.names = frozenset(self._by_name.values())
        self._only = next(iter(self.names)) if len(self.names) == 1 else ""
        self._asked: dict[str, str] = {}

    def of(self, name: str) -> str:
        """Its outlet or pool. A blank name is the only outlet there is; an unknown one stands as
        it is written."""
        if name not in self._asked:
            self._asked[name] = self._by_name.get(_key(name), name) if name.strip() else self._only
        return self._asked[name]

    def own(self, name: str) -> str:
        """The outlet itself, as ``taps.csv`` writes it."""
        return self._own.get(_key(name), name)

    def knows(self, name: str) -> bool:
        """Whether a row of that outlet can be compared with any tap."""
        return self.of(name) in self.names


def _key(name: str) -> str:
    return " ".join(name.casefold().split())
