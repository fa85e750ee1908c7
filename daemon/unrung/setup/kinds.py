"""How voids, comps, refunds, training lines, keg events and log reasons are written."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from unrung.records import KegKind, LogReason, RingKind
from unrung.setup.doubt import Doubt, Found, Notes
from unrung.setup.draft import Draft
from unrung.setup.facts import Facts
from unrung.setup.numbers import NumberForm, value
from unrung.setup.words import kind_of, plain

_FIELD = {"rings": "kind", "kegs": "kind", "log": "reason"}
_KNOWN = {"rings": get_args(RingKind), "kegs": get_args(KegKind), "log": get_args(LogReason)}
_YES = {"true", "yes", "y", "1", "x", "ja", "j", "oui", "si", "t", "ano", "tak", "sim"}
_NO = {"false", "no", "n", "0", "", "nein", "non", "f", "ne", "nei", "nej", "nie", "nao"}


def settle_kinds(draft: Draft, notes: Notes) -> None:
    """Fill ``formats.kinds`` from the values of the kind's column, and say what negative units mean."""
    field = _FIELD.get(draft.carries)
    if field is None:
        return
    if draft.carries == "rings":
        _flags(draft)
        _negative_units(draft, notes)
    if field not in draft.fields or "kinds" in draft.formats:
        return
    texts = list(dict.fromkeys(text.strip() for text in draft.texts(field) if text.strip()))
    kinds = _kinds(draft, texts, notes)
    if draft.carries == "rings":
        kinds = {kind: words for kind, words in kinds.items() if kind != "sale"} or kinds
        if not kinds:
            draft.fields.pop(field)
            return
    draft.formats["kinds"] = kinds


def _kinds(draft: Draft, texts: Sequence[str], notes: Notes) -> dict[str, list[str]]:
    kinds: dict[str, list[str]] = {}
    for text in texts:
        kind = kind_of(text, draft.carries)
        if not kind:
            kind = notes.settle(f"{draft.name}: kinds", _unknown(draft, text))
        if kind:
            kinds.setdefault(kind, []).append(text)
    return kinds


def _unknown(draft: Draft, text: str) -> Found:
    """What a word means that is in no list. A till's is taken for a sale, since most lines are."""
    proposed = {"rings": "sale", "log": "other"}.get(draft.carries, "")
    known = _KNOWN[draft.carries]
    ordered = [proposed, *(kind for kind in known if kind != proposed)] if proposed else [*known, ""]
    why = {
        "rings": "most lines of a till are sales",
        "log": "it stays in the logged volume under that name",
    }.get(draft.carries, "its rows will be kept aside until formats.kinds lists it")
    choices = tuple((kind, "") for kind in ordered)
    doubt = Doubt(f"{draft.name}: kinds", f"What does {text!r} mean?", choices, proposed, why)
    return Found(proposed, why, doubt)


def _flags(draft: Draft) -> None:
    """Columns such as "Void: yes/no": joined, they say the kind."""
    flags = [one for one in draft.facts if _is_flag(one)]
    free = [one for one in flags if one.column.name not in _used(draft, but="kind")]
    if not free or ("kind" in draft.fields and draft.fields["kind"][0] not in {f.column.name for f in free}):
        return
    names = tuple(one.column.name for one in free)
    kinds: dict[str, list[str]] = {}
    draft.fields["kind"] = names
    for text in dict.fromkeys(draft.texts("kind")):
        said = text.split(" ")
        for one, word in zip(free, said, strict=False):
            if word.casefold() in _YES:
                kinds.setdefault(kind_of(one.column.title, "rings"), []).append(text)
                break
    if kinds:
        draft.formats["kinds"] = kinds
    else:
        del draft.fields["kind"]


def _is_flag(facts: Facts) -> bool:
    said = {text.strip().casefold() for text in facts.column.values}
    kind = kind_of(facts.column.title, "rings")
    return bool(said & _YES) and said <= _YES | _NO and kind not in ("", "sale")


def _used(draft: Draft, but: str) -> set[str]:
    return {name for field, names in draft.fields.items() if field != but for name in names}


def _negative_units(draft: Draft, notes: Notes) -> None:
    if "units" not in draft.fields:
        return
    form = NumberForm(draft.formats.get("decimal", "."), draft.formats.get("thousands", ""))
    units = [value(text, form) for text in draft.texts("units")]
    taken_back = [index for index, number in enumerate(units) if number is not None and number < 0]
    if not taken_back:
        return
    same = sum(_has_earlier(draft, index) for index in taken_back)
    proposed = "void" if 2 * same >= len(taken_back) else "refund"
    where = "stand on the check of" if "check" in draft.fields else "have an earlier line of their item as"
    why = f"{same} of {len(taken_back)} such lines {where} the line that they take back"
    doubt = Doubt(
        f"{draft.name}: negative_units", "What does a line with a negative quantity mean?",
        (("void", "it takes an earlier line back: not sold"), ("refund", "money back for what was drunk")),
        proposed, why,
    )
    draft.formats["negative_units"] = notes.settle(
        f"{draft.name}: negative_units", Found(proposed, why, doubt if 0 < same < len(taken_back) else None)
    )
    draft.why["negative_units"] = why


def _has_earlier(draft: Draft, index: int) -> bool:
    """Whether the same check rang the same item before."""
    items = draft.texts("item")
    checks = draft.texts("check") if "check" in draft.fields else [""] * len(items)
    key = (plain(items[index]), checks[index])
    return any((plain(items[at]), checks[at]) == key for at in range(index))
