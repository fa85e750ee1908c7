"""Looks for beer on the first morning with which the story can be told.

Kegs must not run out beside a told event. After a change of the story or of the trade, run
``python tests/sample_venue/find_kegs.py`` and write what it prints into ``place.TAPS``.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sample_venue import make, sound
from sample_venue.bar import RanDry
from sample_venue.chance import Dice
from sample_venue.place import KEG_UL, OUNCE, TAPS


def find(tries: int, dice: Dice) -> dict[str, int] | None:
    """Ounces left by tap, or None where ``tries`` weeks were not enough."""
    left, sizes = dict(make.LEFT), {t.name: int(KEG_UL[t.product] / OUNCE) for t in TAPS}
    for _ in range(tries):
        try:
            if not sound.problems(make.play(left)):
                return left
            tap = dice.pick([(t.name, 1) for t in TAPS if t.metered])
        except RanDry as dry:
            tap = str(dry)
        left[tap] = dice.whole(sizes[tap] // 50, sizes[tap] // 10) * 10
    return None


if __name__ == "__main__":
    print(find(3000, Dice(make.SEED)) or "None found: change make.SEED and try again.")
