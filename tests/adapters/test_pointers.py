"""JSON Pointers, against RFC 6901's own table and the jsonpointer library."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonpointer import JsonPointer

from unrung_adapters.pointers import MISSING, Place, compiled, followed, places_at, tokens

# RFC 6901, section 5.
DOCUMENT: dict[str, Any] = {
    "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, 'k"l': 6,
    " ": 7, "m~n": 8,
}  # fmt: skip
TABLE = {
    "": DOCUMENT, "/foo": ["bar", "baz"], "/foo/0": "bar", "/": 0, "/a~1b": 1, "/c%d": 2, "/e^f": 3,
    "/g|h": 4, "/i\\j": 5, '/k"l': 6, "/ ": 7, "/m~0n": 8,
}  # fmt: skip


def place(document: Any, *keys: str | int) -> Place:
    values = [document]
    for key in keys:
        values.append(values[-1][key])
    return Place(tuple(values), keys)


def test_the_table_of_the_rfc_has_twelve_rows() -> None:
    assert len(TABLE) == 12


@pytest.mark.parametrize("pointer", TABLE)
def test_the_examples_of_rfc_6901_evaluate_to_their_values(pointer: str) -> None:
    assert followed(DOCUMENT, tokens(pointer)) == TABLE[pointer]
    assert compiled(pointer)(place(DOCUMENT)) == TABLE[pointer]


def test_an_escaped_tilde_is_decoded_last() -> None:
    """RFC 6901, section 4: "~01" is "~1", never "/"."""
    assert tokens("/~01") == ("~1",)


@pytest.mark.parametrize(
    "pointer",
    ["/foo/2", "/foo/-", "/foo/01", "/foo/+1", "/foo/¹", "/foo/bar", "/x", "/foo/0/x", "/ /x"],
)
def test_a_pointer_that_leads_nowhere_gives_nothing(pointer: str) -> None:
    assert compiled(pointer)(place(DOCUMENT)) is MISSING


NAMES = st.text(alphabet="ab/~0 1", max_size=3)
TREES = st.recursive(
    st.integers(), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3)
)


@given(tree=TREES, path=st.lists(NAMES | st.integers(0, 3).map(str), max_size=4))
def test_pointers_lead_where_the_library_says(tree: Any, path: list[str]) -> None:
    pointer = JsonPointer.from_parts(path)
    # The library gives "-" a meaning for patches and takes "01" for an index; the RFC's section 4
    # does neither, and our names above hold no "-".
    sound = all(part == "0" or not part.startswith("0") for part in path if part.isdigit())
    if sound:
        assert compiled(pointer.path)(place(tree)) == pointer.resolve(tree, MISSING)


# Relative JSON Pointer, the examples of draft-bhutton-relative-json-pointer-00 (from memory).
SAMPLE = {"foo": ["bar", "baz"], "highly": {"nested": {"objects": True}}}


@pytest.mark.parametrize(
    ("start", "pointer", "expected"),
    [
        (("foo", 1), "0", "baz"), (("foo", 1), "1/0", "bar"), (("foo", 1), "2/highly/nested/objects", True),
        (("foo", 1), "0#", 1), (("foo", 1), "1#", "foo"), (("highly", "nested"), "0/objects", True),
        (("highly", "nested"), "1/nested/objects", True), (("highly", "nested"), "2/foo/0", "bar"),
        (("highly", "nested"), "0#", "nested"), (("highly", "nested"), "1#", "highly"),
        (("foo", 1), "3/foo", MISSING), (("foo", 1), "2#", MISSING), (("foo", 1), "99", MISSING),
    ],
)  # fmt: skip
def test_relative_pointers_climb_as_the_draft_says(
    start: tuple[str | int, ...], pointer: str, expected: Any
) -> None:
    assert compiled(pointer)(place(SAMPLE, *start)) == expected


@pytest.mark.parametrize(
    "pointer", ["name", "01/a", "-1/a", "1a", "/a~", "/a~2b", "1/a~", "0+1", "#", "1##", " /a"]
)
def test_what_is_no_pointer_is_refused(pointer: str) -> None:
    with pytest.raises(ValueError, match="pointer"):
        compiled(pointer)


def test_a_star_goes_into_every_element_and_member() -> None:
    found = places_at({"a": [{"x": 1}, {"y": 2}], "b": {"c": {"x": 3}}}, ("*", "*", "x"))
    assert [(each.values[-1], each.keys) for each in found] == [(1, ("a", 0, "x")), (3, ("b", "c", "x"))]
