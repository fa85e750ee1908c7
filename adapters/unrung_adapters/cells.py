"""From a row's cells to the texts of its fields: the same for every shape of export."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from operator import itemgetter

from unrung.mapping import Constant, Mapping
from unrung_adapters.build import ORDERS
from unrung_adapters.plan import mapped_fields

Cells = list[str]


def wanted(mapping: Mapping) -> dict[str, str]:
    """The mapped columns, or pointers, each once and in the builder's order, to their first field."""
    fields, found = mapped_fields(mapping), dict[str, str]()
    for field in ORDERS[mapping.carries]:
        source = mapping.fields[field] if field in fields else ()
        for column in () if isinstance(source, Constant) else source:
            found.setdefault(column, field)
    return found


def told_apart(used: dict[str, str]) -> list[str]:
    """The columns that make up a row's raw text. Not that of staff: a name that is blanked after its
    days must stand nowhere else, and a row is the same row whether or not the name is kept."""
    return [column for column, field in used.items() if field != "staff"]


def texts_taker(
    mapping: Mapping, at: dict[str, int], width: int
) -> Callable[[Cells], tuple[str, ...]]:
    """A function from ``width`` cells to the texts of all fields in the builder's order.

    ``at``: where each column stands. "" stands for a field that is not mapped. Behind a row's own
    cells go an empty one, the constants and the joined texts; one grab then takes them all.
    """
    fields = mapped_fields(mapping)
    joined: list[Callable[[Cells], tuple[str, ...]]] = []
    places: list[int] = []
    sources = [mapping.fields[f] if f in fields else None for f in ORDERS[mapping.carries]]
    constants = [source.const for source in sources if isinstance(source, Constant)]
    extras = ["", *constants]
    for source in sources:
        if source is None:
            places.append(width)
        elif isinstance(source, Constant):
            places.append(width + 1 + constants.index(source.const))
        elif len(source) == 1:
            places.append(at[source[0]])
        else:
            places.append(width + len(extras) + len(joined))
            joined.append(itemgetter(*[at[column] for column in source]))
    grab = itemgetter(*places)

    def take(cells: Cells) -> tuple[str, ...]:
        whole = cells + extras
        for parts in joined:
            whole.append(" ".join(parts(cells)))
        found: tuple[str, ...] = grab(whole)
        return found

    return take


def columns_taker(
    mapping: Mapping, at: dict[str, int]
) -> Callable[[Sequence[Cells]], dict[str, Sequence[str]]]:
    """A function from rows to the columns of the mapped fields; ``at``: where each column stands."""
    fields = mapped_fields(mapping)
    sources = {field: mapping.fields[field] for field in ORDERS[mapping.carries] if field in fields}

    def take(rows: Sequence[Cells]) -> dict[str, Sequence[str]]:
        columns: list[Sequence[str]] = list(zip(*rows, strict=True))
        found: dict[str, Sequence[str]] = {}
        for field, source in sources.items():
            if isinstance(source, Constant):
                found[field] = [source.const] * len(rows)
            elif len(source) == 1:
                found[field] = columns[at[source[0]]]
            else:
                found[field] = list(map(" ".join, zip(*(columns[at[name]] for name in source), strict=True)))
        return found

    return take


def raw_taker(indexes: Sequence[int]) -> Callable[[Cells], str]:
    """A function from cells to those at ``indexes``, as written, joined by U+001F."""
    if len(indexes) < 2:
        return lambda cells: "".join([cells[index] for index in indexes])
    grab = itemgetter(*indexes)
    return lambda cells: "\x1f".join(grab(cells))


def skipper(mapping: Mapping, at: dict[str, int]) -> Callable[[Cells], bool] | None:
    """Whether ``formats.skip_rows`` names a row, of whatever width; None without such a rule."""
    rules = [(at[rule.column], rule.passes_over) for rule in mapping.formats.skip_rows]
    if not rules:
        return None

    def skips(cells: Cells) -> bool:
        return any(
            passes_over(cells[index].strip() if index < len(cells) else "") for index, passes_over in rules
        )

    return skips


def named_cells(mapping: Mapping, texts: Iterable[str]) -> dict[str, str]:
    """The mapped fields of a row with their texts, for a person to look at; never staff."""
    fields, order = mapped_fields(mapping) - {"staff"}, ORDERS[mapping.carries]
    return {field: str(text) for field, text in zip(order, texts, strict=True) if field in fields}
