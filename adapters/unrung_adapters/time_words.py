"""Words in times as other languages write them, brought into the English of ``strptime`` patterns.

Names from memory, no source, without accents. None means two months in the languages that are here.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable

_MONTHS = (
    "jan january januar januari janner janv janvier ene enero gen gennaio janeiro led leden ledna sty "
    "styczen stycznia tammikuu tammikuuta",
    "feb february februar februari fevr fevrier febrero febbraio fev fevereiro uno unor unora lut luty "
    "lutego helmikuu helmikuuta",
    "mar march marz maerz mrz mars marzo marco mrt maart bre brezen brezna marca marzec maaliskuu "
    "maaliskuuta",
    "apr april avr avril abr abril aprile dub duben dubna kwi kwiecien kwietnia huhtikuu huhtikuuta",
    "may mai mayo mag maggio maio mei maj kve kveten kvetna maja toukokuu toukokuuta",
    "jun june juni juin junio giu giugno junho cvn cerven cervna cze czerwiec czerwca kesakuu kesakuuta",
    "jul july juli juil juillet julio lug luglio julho cvc cervenec cervence lip lipiec lipca heinakuu "
    "heinakuuta",
    "aug august aout ago agosto augustus augusti srp srpen srpna sie sierpien sierpnia elokuu elokuuta",
    "sep sept september septembre septiembre set sett settembre setembro zar zari wrz wrzesien wrzesnia "
    "syyskuu syyskuuta",
    "oct okt october oktober octobre octubre ott ottobre out outubro oktobre rij rijen rijna paz "
    "pazdziernik pazdziernika lokakuu lokakuuta",
    "nov november novembre noviembre novembro lis listopad listopadu listopada marraskuu marraskuuta",
    "dec december dez dezember decembre dic diciembre dicembre dezembro des desember pro prosinec "
    "prosince gru grudzien grudnia joulukuu joulukuuta",
)
_WEEKDAYS = (
    "mon mo monday montag lun lundi lunes lunedi seg segunda ma maandag man mandag pon po pondeli "
    "poniedzialek maanantai",
    "tue tues di tuesday dienstag mar mardi martes martedi ter terca dinsdag tir tirsdag tis tisdag ut "
    "utery wt wtorek ti tiistai",
    "wed mi wednesday mittwoch mer mercredi mie miercoles mercoledi qua quarta wo woensdag ons onsdag st "
    "streda sr sroda ke keskiviikko",
    "thu thur thurs do thursday donnerstag jeu jeudi jue jueves gio giovedi qui quinta donderdag tor tors "
    "torsdag ct ctvrtek czw czwartek to torstai",
    "fri fr friday freitag ven vendredi vie viernes venerdi sex sexta vr vrijdag fre fredag pa patek pt "
    "piatek pe perjantai",
    "sat sa saturday samstag sonnabend sam samedi sab sabado sabato za zaterdag lor lordag sobota so la "
    "lauantai",
    "sun sunday sonntag dim dimanche dom domingo domenica zo zondag son sondag ne nedele nd niedziela su "
    "sunnuntai",
)
"""``strptime`` looks at no more than that it is a weekday, so "so" may be a Sunday or a sobota."""
_ENGLISH = {
    "b": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(),
    "B": "January February March April May June July August September October November December".split(),
    "a": "Mon Tue Wed Thu Fri Sat Sun".split(),
    "A": "Monday Tuesday Wednesday Thursday Friday Saturday Sunday".split(),
}
_HALF = re.compile(r"(?<=\d)(\s*)([ap])(?:\.?\s?m\.?|)(?![^\W\d_])", re.IGNORECASE)
_PLAIN = str.maketrans({"ø": "o", "ł": "l"})


def to_english(form: str) -> Callable[[str], str] | None:
    """A function from a text to what it is in English, for a pattern with words; None for one without.

    >>> read = to_english("%a %d. %b %Y %I:%M %p")
    >>> read("lun. 24. déc. 2026 9:05 p. m."), read("So 1. maj 2026 9:05a")
    ('Mon 24. Dec 2026 9:05 PM', 'Sat 1. May 2026 9:05AM')
    """
    codes = re.findall("%(.)", form)
    names = [_names(code) for code in codes if code in _ENGLISH]
    if not names and "p" not in codes:
        return None
    word = re.compile(r"[^\W\d_]{2,}" + (r"\.?" if not re.search(r"%[aAbB]\.", form) else ""))

    def translated(text: str) -> str:
        halved = _HALF.sub(lambda at: f"{at[1]}{at[2].upper()}M", text) if "p" in codes else text
        waiting = iter(names)
        wanted = next(waiting, {})

        def english(at: re.Match[str]) -> str:
            nonlocal wanted
            found = wanted.get(_plain(at[0]))
            if found is None:
                return at[0]
            wanted = next(waiting, {})
            return found

        return word.sub(english, halved)

    return translated


def _names(code: str) -> dict[str, str]:
    """Name in any language to the one that ``strptime`` takes for the code."""
    spelt = _WEEKDAYS if code in "aA" else _MONTHS
    return {
        name: english for names, english in zip(spelt, _ENGLISH[code], strict=True) for name in names.split()
    }


def _plain(word: str) -> str:
    bare = unicodedata.normalize("NFKD", word.casefold().rstrip(".").translate(_PLAIN))
    return "".join(letter for letter in bare if not unicodedata.combining(letter))
