"""What setup says of an encoding, against texts whose encoding others have recorded."""

from __future__ import annotations

import codecs
from pathlib import Path

import pytest

from unrung.setup.encodings import encoding_of

TEXTS = Path(__file__).resolve().parents[1] / "data/outside/charset-normalizer"
RECORDED = {
    "sample-arabic-1.txt": "cp1256", "sample-french-1.txt": "cp1252", "sample-arabic.txt": "utf_8",
    "sample-russian-3.txt": "utf_8", "sample-french.txt": "utf_8", "sample-chinese.txt": "big5",
    "sample-greek.txt": "cp1253", "sample-greek-2.txt": "cp1253", "sample-hebrew-2.txt": "cp1255",
    "sample-hebrew-3.txt": "cp1255", "sample-bulgarian.txt": "utf_8", "sample-english.bom.txt": "utf_8",
    "sample-spanish.txt": "utf_8", "sample-korean.txt": "cp949", "sample-turkish.txt": "cp1254",
    "sample-russian-2.txt": "utf_8", "sample-russian.txt": "mac_cyrillic", "sample-polish.txt": "utf_8",
}  # fmt: skip
"""charset-normalizer 3.5.3, tests/test_full_detection.py."""


def test_the_recorded_texts_are_all_there() -> None:
    assert {path.name for path in TEXTS.glob("*.txt")} == set(RECORDED)


@pytest.mark.parametrize("name", sorted(RECORDED))
def test_what_is_said_without_asking_is_right_and_the_rest_is_asked(name: str) -> None:
    content = (TEXTS / name).read_bytes()
    right = content.decode(RECORDED[name]).removeprefix("\ufeff")
    found = encoding_of([content])
    if found.doubt is None:
        assert content.decode(found.value).removeprefix("\ufeff") == right
    else:
        assert RECORDED[name] != "utf_8"
        offered = [choice for choice, _ in found.doubt.choices] or [found.doubt.proposed]
        assert right in [content.decode(codecs.lookup(one).name) for one in offered]


def test_nine_of_eighteen_are_known_and_eight_of_the_other_nine_proposed_rightly() -> None:
    """The letters of an 8-bit encoding prove it only where no other one gives plain words."""
    verdicts = {name: encoding_of([(TEXTS / name).read_bytes()]) for name in RECORDED}
    asked = {name for name, found in verdicts.items() if found.doubt}
    wrong = {
        name for name in asked
        if codecs.lookup(verdicts[name].value).name != codecs.lookup(RECORDED[name]).name
    }  # fmt: skip
    assert (len(asked), wrong) == (9, {"sample-turkish.txt"})


@pytest.mark.parametrize(
    ("text", "encoding", "said", "asks"),
    [
        ("Item,Price\nPint,5.00\n", "ascii", "utf-8", False),
        ("Getränk;Käse;Größe;Öl\n", "cp1252", "windows-1252", False),
        ("Getränk;5,00 €\n", "utf-8-sig", "utf-8", False),
        ("Bière;Pâté\n", "cp1252", "windows-1252", True),
        ("Položka;Množství\nŘeřicha;59,00 Kč\n", "cp1250", "windows-1250", False),
        ("Nazwa;Ilość;Wartość\nŻuraw jasne;2;24,00 zł\n", "cp1250", "windows-1250", False),
        ("Item,Price\nBière,5\n", "utf-16", "utf-16", False),
        ("Item,Price\nPint,5\n", "utf-16-le", "utf-16-le", False),
    ],
)
def test_what_only_one_reading_fits_is_not_asked(text: str, encoding: str, said: str, asks: bool) -> None:
    found = encoding_of([text.encode(encoding)])
    assert (found.value, found.doubt is not None) == (said, asks)


def test_the_question_shows_the_words_as_each_encoding_spells_them() -> None:
    doubt = encoding_of(["Crème de héron;5,00\n".encode("cp1252")]).doubt
    assert doubt is not None
    spelt = dict(doubt.choices)
    assert spelt["windows-1252"] == "Crème, héron" and spelt["windows-1250"] == "Crčme, héron"
