"""The shipped samples as they would be in Dutch: other columns, words, encodings, marks and orders of dates.

Rows that cannot be read are left out, as they are kept aside in the samples.
"""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

Row = Sequence[str]
SAVED = datetime(2026, 11, 3, 11, 30, tzinfo=UTC).timestamp()
TILL = ("Regelnr", "Bonnr", "Tijdstip", "Kassa", "Bar", "Omschrijving", "Maat", "Aantal", "Bedrag", "Soort",
        "Geannuleerd op", "Annuleert", "Medewerker")
CELLAR = ("Nr", "Tijdstip", "Beweging", "Locatie", "Kraan", "Bier", "Vaten", "Restant (oz)", "Kostprijs",
          "Naar")
SHEET = ("Tijdstip", "Tot", "Dag", "Reden", "Bar", "Kraan", "Bier", "Artikel", "Aantal", "Ounces")
WORDS = {
    "": "", "Small": "Klein", "Pitcher": "Kan",
    "VOID": "Geannuleerd", "COMP": "Van het huis", "REFUND": "Retour", "TRAINING": "Oefening",
    "Tapped": "Aangeslagen", "Pulled": "Afgekoppeld", "Delivered": "Geleverd", "Counted": "Geteld",
    "Moved": "Verplaatst", "Waste": "Verspild", "Staff drink": "Personeel", "Comp": "Van het huis",
    "Line clean": "Reiniging", "Taster": "Proefje", "Training": "Oefening",
}


def write_in_dutch(samples: Path, folder: Path) -> None:
    """Till, meters, cellar and sheet in folders of their own."""
    for path in (one for one in samples.glob("till/*.csv") if "copy" not in one.name):
        rows = list(_till(path))
        lines = [("Kassajournaal",), ("",), TILL, *rows, ("Totaal", *[""] * 7, "1.234,50", *[""] * 4)]
        _put(folder / f"kassa/bonnen {path.stem[5:]}.csv", lines, ";", "cp1252")
    for path in samples.glob("meters/*.json"):
        taps = json.loads(path.read_text("utf-8"))["taps"]
        pours = [
            (pour["id"], tap["tap"], pour["start"], pour["end"], _comma(f"{pour['ml'] / 10:.2f}"))
            for tap in taps for pour in tap["pours"]
        ]
        lines = [("Nr", "Kraan", "Begin", "Eind", "Hoeveelheid (cl)"), *pours]
        _put(folder / f"tap/{path.stem}.txt", lines, "\t", "utf-8")
    for path in samples.glob("cellar/*.csv"):
        _put(folder / f"kelder/{path.name}", [CELLAR, *map(_keg, _read(path))], ";", "utf-8-sig")
    for path in samples.glob("sheet/*.csv"):
        _put(folder / f"blad/{path.name}", [SHEET, *map(_entry, _read(path))], ";", "utf-16")


def _till(path: Path) -> Iterator[Row]:
    for row in _read(path):
        try:
            at, _ = _moment(row["Rung At"], "%I:%M:%S %p", "%H:%M:%S"), float(row["Quantity"])
        except (TypeError, ValueError):
            continue
        yield (
            row["Line ID"], row["Check"], at, row["Terminal"], row["Bar"], row["Item"], _word(row["Size"]),
            _comma(row["Quantity"]), _comma(row["Line Total"]),
            WORDS[row["Status"]] or "Verkoop", _moment(row["Voided At"], "%I:%M:%S %p", "%H:%M:%S"),
            row["Takes Back"], row["Served By"],
        )


def _keg(row: dict[str, str]) -> Row:
    return (
        row["Id"], row["When"], _word(row["What"]), row["Bar"], row["Tap"], row["Beer"], row["Kegs"],
        row["Part oz"], _comma(row["Cost each"]), row["To bar"],
    )


def _entry(row: dict[str, str]) -> Row:
    at, until = (_moment(row[name], "%I:%M %p", "%H:%M") for name in ("When", "Until"))
    day = datetime.strptime(row["Day only"], "%m/%d/%Y").strftime("%d-%m-%Y") if row["Day only"] else ""  # noqa: DTZ007
    return (
        at, until, day, _word(row["What for"]), row["Bar"], row["Tap"], row["Beer"], row["Menu item"],
        row["Count"], _comma(row["Ounces"]),
    )


def _word(text: str) -> str:
    return WORDS.get(text, text)


def _comma(number: str) -> str:
    return number.replace(".", ",")


def _moment(text: str, clock: str, other: str) -> str:
    return datetime.strptime(text, f"%m/%d/%Y {clock}").strftime(f"%d-%m-%Y {other}") if text else ""  # noqa: DTZ007


def _read(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline="")))


def _put(path: Path, lines: Sequence[Row], delimiter: str, encoding: str) -> None:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter, quoting=csv.QUOTE_ALL).writerows(lines)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.getvalue().encode(encoding))
    os.utime(path, (SAVED, SAVED))
