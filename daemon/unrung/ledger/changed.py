"""What of a day cannot be compared because a feed changed its ways: a till whole hours off, items renamed.

Both look like a great loss and are none. They are judged from the day itself: nothing that came before is
needed to see them.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

from unrung.ledger.clocks import ClockNote
from unrung.ledger.draft import Draft
from unrung.ledger.heard import GLASS_LEAST_UL
from unrung.ledger.hour_shift import Rung, apart, hours_ahead
from unrung.ledger.inputs import RingLine
from unrung.ledger.material import Material
from unrung.ledger.outlets import Outlets
from unrung.ledger.rings import Unit
from unrung.matching.types import Matched

GLASSES = 6
"""Fewer glasses of a beer that nobody rang may be a beer that nobody bought (our own choice)."""
HARDLY = 5
"""A beer is gone from the till where no more than one glass in so many was rung (our own choice)."""
GLASSES_A_LINE = 4
"""A line may be a round; fewer lines under new names than this do not explain what flowed."""
EXAMPLES = 3


def note_changed(
    draft: Draft, matched: Mapping[str, Matched], units: Mapping[int, Unit],
    clocks: Mapping[str, ClockNote], days: Sequence[Material],
) -> dict[str, Matched]:
    """Write into the draft what cannot be compared, and give back the pairs that still can be believed.
    ``days``: the day and those beside it, in order."""
    done = {}
    for outlet, found in matched.items():
        mine = [day.rung[outlet] for day in days if outlet in day.rung]
        rung = Rung([at for one in mine for at in one.at_ms], [sold for one in mine for sold in one.what])
        hours = hours_ahead(rung, clocks[outlet], found.serves)
        if hours:
            draft.hours_ahead[outlet] = hours
            _close(draft, outlet)
            found = apart(found, units, draft.material.bounds)
        done[outlet] = found
    draft.silent = [one for one in draft.silent if one[0] not in draft.hours_ahead]
    draft.stuck = [one for one in draft.stuck if one[0] not in draft.hours_ahead]
    _note_renamed(draft)
    return done


def changed_words(draft: Draft) -> list[str]:
    """What changed, what it means and what to do, as sentences."""
    return [*_hours_words(draft), *_renamed_words(draft)]


def doubtful_sources(draft: Draft) -> tuple[int, ...]:
    """The exports whose times cannot be right: they are read again once the settings say otherwise."""
    lines = (line for outlet in draft.hours_ahead for line in _lines(draft, outlet))
    return tuple(sorted({line.origin.source for line in lines}))


def _lines(draft: Draft, outlet: str) -> list[RingLine]:
    outlets = Outlets(draft.settings)
    return [line for line in draft.material.inputs.rings if outlets.of(line.outlet) == outlet]


def _hours_words(draft: Draft) -> list[str]:
    found = []
    for outlet, hours in sorted(draft.hours_ahead.items()):
        origins = Counter(line.origin.feed for line in _lines(draft, outlet))
        feed = max(origins, key=lambda name: (origins[name], name), default="")
        names = sorted({draft.name_of(line.origin) for line in _lines(draft, outlet)})
        how = f"{abs(hours)} hour{'s' if abs(hours) > 1 else ''} {'ahead of' if hours > 0 else 'behind'}"
        found.append(
            f"The till's times at {outlet} are {how} the meters' ({_few(names)}), so nothing there is "
            f"compared. Was its zone or clock changed? If so, set the till right, or formats.zone of feed "
            f"{feed!r} in venue.toml: these exports are then read again."
        )
    return found


def _renamed_words(draft: Draft) -> list[str]:
    by_outlet: dict[str, list[str]] = defaultdict(list)
    for outlet, product in sorted(draft.renamed):
        by_outlet[outlet].append(product)
    return [
        f"Hardly rung at {outlet}, and not compared: {_few(products)}; but the till sold items that "
        f"menu.csv lacks: {_few(_new_names(draft, outlet))}. Renamed? Then give the new names rows in "
        "menu.csv; the day is issued again."
        for outlet, products in by_outlet.items()
    ]


def _new_names(draft: Draft, outlet: str) -> list[str]:
    lists = [names for place, names in sorted(draft.renamed.items()) if place[0] == outlet]
    in_turn = (names[n] for n in range(EXAMPLES) for names in lists if n < len(names))
    return [repr(name) for name in dict.fromkeys(in_turn)]


def _few(names: Sequence[str]) -> str:
    more = len(names) - EXAMPLES
    return ", ".join(names[:EXAMPLES]) + (f" and {more} more" if more > 0 else "")


def _close(draft: Draft, outlet: str) -> None:
    """Nothing of an outlet's day is covered, on either side."""
    draft.outlet_cover[outlet] = []
    for place in draft.material.metered:
        if place[0] == outlet:
            draft.pour_cover[place] = []


def _note_renamed(draft: Draft) -> None:
    """Products with many glasses and hardly a ring, where the till sold items that ``menu.csv`` does not
    list: as many that bear the product's name; or, where most products are gone from the till at once, as
    many of any name."""
    material = draft.material
    if not material.rings.unlisted:  # as is usual
        return
    glasses = Counter(
        (flow.outlet, flow.product) for flow in material.pours.beer if flow.volume_ul >= GLASS_LEAST_UL
    )
    poured = {place: count for place, count in glasses.items() if count >= GLASSES}
    rung = Counter((unit.outlet, unit.product) for unit in material.rings.units)
    gone = {place: count for place, count in poured.items() if rung[place] * HARDLY <= count}
    unlisted = material.rings.unlisted
    alike = Counter[str]()
    for (_, like), count in unlisted.items():
        alike[like] += count
    most_gone = len(gone) >= 2 and 2 * len(gone) > len(poured)
    all_new = most_gone and GLASSES_A_LINE * unlisted.total() >= sum(gone.values())
    for place, count in gone.items():
        if GLASSES_A_LINE * alike[place[1]] >= count:
            draft.renamed[place] = _names(unlisted, place[1])
        elif all_new:
            draft.renamed[place] = _names(unlisted, None)


def _names(unlisted: Counter[tuple[str, str]], product: str | None) -> list[str]:
    """The unlisted items sold most, of those that bear the product's name, or of all."""
    found = [(-count, item) for (item, like), count in unlisted.items() if product in (None, like)]
    return [item for _, item in sorted(found)[:EXAMPLES]]
