"""The words that exports use for what they hold, in a few languages; from memory, no source.

English, then German, French, Spanish, Italian, Dutch. Written without accents, umlauts as a, o, u
with and without an e; ``plain`` brings a header into that form. A header in other words is no
matter: the values decide as far as they can, and the rest is asked.
"""

from __future__ import annotations

import re
import unicodedata

_OUTLET = (
    "outlet|bar|revenue center|revenue centre|rev ctr|rev center|profit center|location|area|store|site|"
    "premises|room|venue|section|department name|bereich|theke|filiale|standort|verkaufsstelle|kostenstelle|"
    "salle|lieu|zona|local|reparto|sala|locatie|afdeling"
)
HEADERS: dict[str, dict[str, str]] = {
    "rings": {
        "at":
            "rung at|rung|sold at|sale time|time of sale|ordered at|order time|ordered|sent at|"
            "line time|item time|date time|datetime|date and time|timestamp|time stamp|when|time|at|"
            "date|created at|created|zeitpunkt|buchungszeit|gebucht|gebucht am|datum uhrzeit|uhrzeit|"
            "zeit|datum|horodatage|date heure|heure|fecha y hora|fecha hora|fecha|hora|data e ora|"
            "data ora|data|ora|tijdstip|datum tijd|tijd",
        "item":
            "item|item name|menu item|product|product name|article|article name|description|name|"
            "item description|plu name|sold|drink|artikel|artikelname|artikelbezeichnung|bezeichnung|"
            "produkt|produit|designation|libelle|articulo|producto|descripcion|articolo|prodotto|"
            "descrizione|omschrijving|plu|sku",
        "size":
            "size|serving|portion|portion size|serving size|variant|variation|measure|grosse|groesse|"
            "mass|gebinde|menge einheit|taille|format|tamano|medida|misura|formato|maat|formaat",
        "price_level":
            "price level|price list|price band|tariff|preisebene|preisstufe|preisliste|tarif|tarifa|"
            "listino",
        "modifier":
            "modifier|modifiers|option|options|extra|extras|preparation|zusatz|beilage|optie|"
            "modificador",
        "units":
            "quantity|qty|units|count|number sold|no sold|qty sold|quantity sold|pieces|menge|anzahl|"
            "stuck|stueck|quantite|qte|nombre|cantidad|cant|unidades|uds|quantita|pezzi|aantal",
        "amount":
            "line total|total|amount|net|net amount|net total|net sales|line amount|value|sales|"
            "price|unit price|gross|gross amount|item price|betrag|gesamt|summe|umsatz|zeilensumme|"
            "gesamtpreis|preis|einzelpreis|brutto|netto|montant|prix|total ttc|importe|precio|"
            "importo|prezzo|bedrag|totaal|prijs",
        "tax":
            "tax|vat|sales tax|tax amount|vat amount|gst|mwst|ust|steuer|tva|taxe|iva|impuesto|"
            "imposta|btw",
        "kind":
            "status|state|type|line type|kind|sale type|transaction type|void|voided|action|reason|"
            "flag|buchungsart|art|vorgang|statut|etat|estado|tipo|stato|soort",
        "check":
            "check|check no|check number|check id|bill|bill no|bill number|order|order id|order no|"
            "order number|ticket|ticket no|receipt|receipt no|receipt number|tab|invoice|transaction|"
            "transaction id|sale id|bon|bonnr|bon nr|beleg|belegnr|beleg nr|rechnung|rechnungsnr|"
            "rechnung nr|tisch rechnung|vorgangsnr|addition|commande|note|cuenta|pedido|conto|"
            "scontrino|bestelling|rekening|id",
        "terminal":
            "terminal|till|till no|register|pos|station|workstation|device|till id|terminal id|"
            "register id|kasse|kassennr|kasse nr|caisse|caja|cassa|kassa",
        "outlet": _OUTLET,
        "id":
            "id|line id|line no|line number|line|row id|row|uid|uuid|guid|item id|entry id|key|seq|"
            "sequence|record id|sale line id|lfd nr|laufende nr|nr|zeile|position|posnr|ligne|linea|"
            "riga|regel",
        "version":
            "version|revision|updated|updated at|modified|modified at|last modified|changed at|"
            "geandert|geaendert|modifie le|actualizado",
        "voided_at":
            "voided at|void time|voided on|cancelled at|canceled at|void date|storniert am|"
            "stornozeit|annule le|anulado el|annullato il|geannuleerd op",
        "voids":
            "takes back|voids|void of|voided line|reverses|reversal of|cancels|refers to|refund of|"
            "original line|original id|storno zu|storniert|annule|anula a|annulla|annuleert",
        "staff":
            "staff|server|employee|clerk|cashier|user|waiter|bartender|operator|served by|rung by|"
            "seller|bediener|kellner|mitarbeiter|benutzer|serveur|employe|vendeur|camarero|empleado|"
            "cameriere|medewerker",
    },
    "pours": {
        "tap":
            "tap|tap no|tap number|tap name|tap id|taps tap|taps name|taps id|faucet|line|line no|"
            "line name|beer line|dispense point|channel|spout|port|zapfhahn|hahn|zapfstelle|leitung|"
            "leitungsnr|tireuse|robinet|bec|grifo|spina|linea|kraan|tapkraan",
        "meter":
            "meter|meter id|meter no|meter name|flowmeter|flow meter|sensor|sensor id|counter|zahler|"
            "zaehler|durchflussmesser|compteur|debitmetre|contador|misuratore|meters id|meters name",
        "start":
            "start|started|start time|started at|from|begin|began|begin time|opened|open|first|"
            "pour start|beginn|von|anfang|startzeit|debut|de|inicio|desde|inizio|da|begintijd|van",
        "end":
            "end|ended|end time|ended at|to|until|finish|finished|stop|stopped|closed|close|last|"
            "pour end|time|timestamp|at|when|date time|datetime|ende|bis|endzeit|fin|a|hasta|fine|"
            "eind|eindtijd|tot|zeitpunkt|zeit",
        "duration":
            "duration|seconds|secs|sec|length|elapsed|pour time|pour duration|flow time|ms|millis|"
            "dauer|sekunden|dauer s|duree|secondes|duracion|segundos|durata|secondi|duur|seconden",
        "volume":
            "volume|vol|poured|amount|quantity|ml|millilitres|milliliters|litres|liters|l|cl|oz|"
            "fl oz|ounces|us oz|us fl oz|imp oz|size|volumen|menge|ausgeschenkt|liter|milliliter|"
            "quantite|litros|cantidad|quantita|litri|hoeveelheid|inhoud|"
            "total|totaliser|totalizer|running total|reading|cumulative|zahlerstand|stand",
        "pulses": "pulses|pulse count|ticks|counts|count|clicks|impulse|impulsions|pulsos|impulsi|pulsen",
        "id": "id|pour id|event id|uid|uuid|guid|no|number|seq|sequence|key|record id|nr|lfd nr|pour",
        "product":
            "beer|beer name|product|product name|brand|beverage|drink|keg|taps beer|taps product|"
            "bier|biersorte|sorte|produkt|getrank|getraenk|biere|produit|cerveza|birra|bevanda",
        "outlet": f"{_OUTLET}|zone|bars name",
        "version": "version|revision|updated|updated at|modified",
    },
    "kegs": {
        "at":
            "when|at|time|date|date time|datetime|timestamp|event time|datum|zeit|zeitpunkt|uhrzeit|"
            "heure|fecha|hora|data|ora|tijdstip|tijd",
        "kind":
            "what|event|action|kind|type|movement|activity|vorgang|art|aktion|bewegung|ereignis|"
            "mouvement|evenement|movimiento|evento|tipo|beweging",
        "tap": "tap|tap no|tap name|line|faucet|zapfhahn|hahn|leitung|robinet|grifo|spina|kraan",
        "product":
            "beer|product|beer name|brand|item|bier|sorte|produkt|biere|produit|cerveza|producto|"
            "birra|prodotto",
        "outlet": f"{_OUTLET}|from bar|from|cellar|keller|cave|kelder|bodega|cantina",
        "keg":
            "keg|keg no|keg id|keg number|serial|barcode|fass|fassnr|fass nr|fut|barril|fusto|vat|vatnr",
        "size":
            "keg size|size|contents|capacity|litres|liters|fassgrosse|fassgroesse|inhalt|capacite|"
            "tamano|capacita",
        "units":
            "kegs|quantity|qty|count|number|full kegs|fasser|faesser|anzahl|menge|futs|quantite|barriles|"
            "cantidad|fusti|quantita|vaten|volle vaten|aantal",
        "part":
            "part|part oz|partial|left|remaining|rest|part keg|open keg|restmenge|anbruch|reste|restant|"
            "resto|restante|parziale|aangebroken",
        "gross_kg":
            "gross|gross kg|gross weight|weight|bruttogewicht|gewicht|poids brut|peso bruto|"
            "peso lordo",
        "tare_kg": "tare|tare kg|tare weight|empty weight|leergewicht|tara|poids vide",
        "cost":
            "cost|cost each|unit cost|price|price each|keg cost|einkaufspreis|preis|kosten|cout|prix|"
            "coste|precio|costo|prezzo|kostprijs",
        "to_outlet":
            "to bar|to outlet|to|moved to|destination|nach|ziel|vers|a local|destino|destinazione|"
            "naar",
        "id": "id|event id|no|number|uid|uuid|key|record id|nr|lfd nr",
        "version": "version|revision|updated|updated at|modified",
    },
    "log": {
        "at":
            "when|at|time|date time|datetime|timestamp|start|started|from|date|zeitpunkt|zeit|"
            "uhrzeit|datum|von|heure|debut|fecha|hora|inicio|ora|inizio|tijd",
        "end": "until|end|ended|to|finish|bis|ende|fin|hasta|fine|tot",
        "day": "day|day only|date|business day|tag|datum|jour|date seule|dia|fecha|giorno|data|dag",
        "reason":
            "what for|reason|why|kind|type|category|purpose|grund|art|anlass|kategorie|motif|raison|"
            "motivo|razon|causale|reden",
        "tap": "tap|tap no|tap name|line|faucet|zapfhahn|hahn|leitung|robinet|grifo|spina|kraan",
        "product":
            "beer|product|beer name|brand|bier|sorte|produkt|biere|produit|cerveza|producto|birra|"
            "prodotto",
        "outlet": _OUTLET,
        "item": "menu item|item|article|drink|artikel|articulo|articolo",
        "units":
            "count|quantity|qty|number|units|how many|anzahl|menge|stuck|stueck|quantite|nombre|"
            "cantidad|quantita|aantal",
        "volume":
            "ounces|oz|fl oz|ml|volume|amount|litres|liters|l|cl|liter|volumen|milliliter|litros|"
            "litri|hoeveelheid",
        "id": "id|no|number|uid|uuid|key|entry|nr|lfd nr",
        "version": "version|revision|updated|updated at|modified",
    },
}
"""Kind of feed to field to the words of its header, the more telling first."""

KINDS: dict[str, dict[str, str]] = {
    "rings": {
        "void":
            "void|voided|cancel|cancelled|canceled|deleted|delete|removed|storno|storniert|annule|"
            "annulation|anulado|anulacion|annullato|storno annullo|geannuleerd|v",
        "comp":
            "comp|comped|complimentary|on the house|free|promo comp|gratis|aufs haus|einladung|"
            "freigetrank|offert|gratuit|invitacion|omaggio|van het huis",
        "refund":
            "refund|refunded|return|returned|ruckerstattung|rueckerstattung|erstattung|gutschrift|"
            "retoure|remboursement|rembourse|retour|devolucion|reembolso|rimborso|reso|terugbetaling",
        "training":
            "training|practice|test|demo|ubung|uebung|schulung|formation|practica|formazione|oefening",
        "sale":
            "sale|sold|ok|normal|paid|closed|open|regular|complete|completed|item|line|verkauf|"
            "verkauft|bezahlt|vente|vendu|venta|vendita|verkoop|false|no|n|0|s",
    },
    "kegs": {
        "on":
            "on|tapped|connected|installed|hooked up|keg on|opened|changed on|start|angeschlossen|"
            "angezapft|an|angestochen|branche|mise en perce|conectado|pinchado|collegato|attaccato|"
            "aangesloten|aangeslagen",
        "off":
            "off|pulled|disconnected|removed|keg off|empty|kicked|blown|finished|abgenommen|leer|ab|"
            "debranche|vide|desconectado|vacio|scollegato|vuoto|afgekoppeld|leeg",
        "delivery":
            "delivery|delivered|received|receipt|in|purchase|goods in|lieferung|geliefert|eingang|"
            "wareneingang|livraison|livre|recu|entrega|entregado|recibido|consegna|ricevuto|levering|"
            "geleverd",
        "count":
            "count|counted|stock count|stocktake|stock|inventory|inventur|gezahlt|gezaehlt|bestand|"
            "zahlung|zaehlung|inventaire|recuento|inventario|conteo|inventarisatie|telling|geteld",
        "transfer":
            "transfer|transferred|moved|move|umlagerung|umgelagert|transfert|deplace|traslado|"
            "transferencia|trasferimento|spostato|verplaatst|overdracht",
        "return":
            "return|returned|sent back|ullage|rucksendung|ruecksendung|retoure|zuruck|zurueck|retour|"
            "renvoye|devolucion|devuelto|reso|restituito|teruggestuurd",
        "write_off":
            "write off|written off|scrapped|dumped|lost|damaged|abschreibung|abgeschrieben|verlust|"
            "perte|detruit|baja|perdida|perdita|scarto|afgeschreven",
    },
    "log": {
        "comp":
            "comp|comped|complimentary|on the house|guest|aufs haus|einladung|gratis|gast|offert|"
            "invitacion|omaggio|van het huis|rondje",
        "staff":
            "staff|staff drink|staff drinks|employee|shift drink|shifty|personal|personalgetrank|"
            "mitarbeiter|haustrunk|personnel|empleado|personale|personeel",
        "waste":
            "waste|wasted|spill|spilled|spillage|foam|spoiled|dropped|bad|off|ullage|verlust|schwund|"
            "ausschuss|verschuttet|verschuettet|schaum|perte|mousse|casse|merma|derrame|spreco|"
            "schiuma|verspild|morsen",
        "cleaning":
            "cleaning|clean|line clean|line cleaning|cleaned|line cleaned|flush|reinigung|"
            "leitungsreinigung|gereinigt|spulung|spuelung|nettoyage|limpieza|pulizia|lavaggio|"
            "reiniging|schoonmaak",
        "sample":
            "sample|taster|tasting|taste|tester|probe|verkostung|kostprobe|degustation|echantillon|"
            "muestra|degustacion|assaggio|campione|proefje|proeverij",
        "function":
            "function|event|party|banquet|private party|wedding|veranstaltung|feier|bankett|"
            "evenement|reception|fiesta|evento|banchetto|feest",
        "training": "training|practice|schulung|ubung|uebung|formation|practica|formazione|oefening",
        "other": "other|misc|miscellaneous|sonstiges|andere|autre|otro|altro|overig",
    },
}
"""Kind of feed to our kind to the words that sources use for it."""


def plain(text: str) -> str:
    """Lower case words without accents, signs or camel case.

    >>> plain("RungAt"), plain("Größe (ml)"), plain("line_total"), plain("mL")
    ('rung at', 'grosse ml', 'line total', 'ml')
    """
    metric = re.sub(r"\b([mcd])L\b", r"\1l", text)
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", metric)
    bare = unicodedata.normalize("NFKD", spaced.replace("ß", "ss"))
    letters = "".join(letter for letter in bare if not unicodedata.combining(letter))
    return " ".join(re.findall(r"[^\W_]+", letters.casefold()))


def header_fit(title: str, phrases: str) -> float:
    """How well a header says one of ``phrases``: 1 for the very words, less for some of them.

    >>> header_fit("Menge", "menge|anzahl"), header_fit("Pour volume (ml)", "volume|ml") > 0.5
    (1.0, True)
    """
    said = plain(title)
    if not said:
        return 0.0
    known = phrases.split("|")
    if said in known:
        return 1.0 - 0.2 * known.index(said) / len(known)
    words = said.split()
    best = 0.0
    for place, phrase in enumerate(known):
        parts = phrase.split()
        if len(phrase) > 1 and _within(parts, words):
            best = max(best, (0.4 + 0.4 * len(parts) / len(words)) * (1 - 0.2 * place / len(known)))
    return best


def kind_of(text: str, carries: str) -> str:
    """Our kind for a source's text, or "" where none of the known words fits."""
    said = plain(text)
    for kind, phrases in KINDS.get(carries, {}).items():
        if said in phrases.split("|"):
            return kind
    for kind, phrases in KINDS.get(carries, {}).items():
        if any(len(p) > 3 and _within(p.split(), said.split()) for p in phrases.split("|")):
            return kind
    return ""


def _within(parts: list[str], words: list[str]) -> bool:
    """Whether ``parts`` stand in ``words`` one behind the other."""
    return any(words[at : at + len(parts)] == parts for at in range(len(words) - len(parts) + 1))
