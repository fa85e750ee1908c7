"""The words that stand above the columns of exports, by kind of feed and field, the more telling first.

English, then German, French, Spanish, Italian, Dutch, Norwegian, Danish, Swedish, Czech, Polish, Portuguese;
from memory, no source. Written as ``unrung.setup.words.plain`` brings a header into form. A header in other
words is no matter: the values decide as far as they can, and the rest is asked.
"""

from __future__ import annotations

HEADERS: dict[str, dict[str, str]] = {
    "rings": {
        "at":
            "rung at|rung|sold at|sale time|time of sale|ordered at|order time|ordered|sent at|"
            "line time|item time|date time|datetime|date and time|timestamp|time stamp|when|time|at|"
            "date|created at|created|zeitpunkt|buchungszeit|gebucht|gebucht am|datum uhrzeit|uhrzeit|"
            "zeit|datum|horodatage|date heure|heure|fecha y hora|fecha hora|fecha|hora|data e ora|"
            "data ora|data|ora|tijdstip|datum tijd|tijd|tidspunkt|dato tid|dato|klokkeslett|"
            "klokkeslaet|tid|tidpunkt|datum a cas|datum cas|cas|data i godzina|data godzina|godzina|"
            "czas|data e hora",
        "item":
            "item|item name|menu item|product|product name|article|article name|description|name|"
            "item description|plu name|sold|drink|artikel|artikelname|artikelbezeichnung|bezeichnung|"
            "produkt|produit|designation|libelle|articulo|producto|descripcion|articolo|prodotto|"
            "descrizione|omschrijving|plu|sku|vare|varenavn|varetekst|artikkel|artikkelnavn|vara|"
            "artikelnamn|polozka|nazev polozky|nazev|zbozi|towar|nazwa towaru|nazwa produktu|nazwa|"
            "pozycja|artigo|produto|descricao|navn|namn|platillo",
        "size":
            "size|serving|portion|portion size|serving size|variant|variation|measure|grosse|groesse|"
            "mass|gebinde|menge einheit|taille|format|tamano|medida|misura|formato|maat|formaat|"
            "storrelse|storlek|velikost|objem|rozmiar|pojemnosc|tamanho|presentacion",
        "price_level":
            "price level|price list|price band|tariff|preisebene|preisstufe|preisliste|tarif|tarifa|"
            "listino|prisgruppe|prisniva|cenova hladina|cenova skupina|poziom cen|tabela de precos",
        "modifier":
            "modifier|modifiers|option|options|extra|extras|preparation|zusatz|beilage|optie|"
            "modificador|tilvalg|tillval|modifikace|dodatek|dodatki|modificadores",
        "units":
            "quantity|qty|units|count|number sold|no sold|qty sold|quantity sold|pieces|menge|anzahl|"
            "stuck|stueck|quantite|qte|nombre|cantidad|cant|unidades|uds|quantita|pezzi|aantal|antall|"
            "antal|mnozstvi|pocet|pocet ks|ks|ilosc|liczba|szt|quantidade|qtd|qtde|stk|mangd",
        "amount":
            "line total|total|amount|net|net amount|net total|net sales|line amount|value|sales|price|"
            "unit price|gross|gross amount|item price|betrag|gesamt|summe|umsatz|zeilensumme|"
            "gesamtpreis|preis|einzelpreis|brutto|netto|montant|prix|total ttc|importe|precio|importo|"
            "prezzo|bedrag|totaal|prijs|belop|belob|linjesum|sum|totalt|pris|summa|cena celkem|celkova cena|"
            "celkem|castka|cena|trzba|wartosc|kwota|razem|valor total|valor|preco|omsetning|omsaetning|"
            "forsaljning",
        "tax":
            "tax|vat|sales tax|tax amount|vat amount|gst|mwst|ust|steuer|tva|taxe|iva|impuesto|imposta|"
            "btw|mva|moms|dph|podatek",
        "kind":
            "status|state|type|line type|kind|sale type|transaction type|void|voided|action|reason|"
            "flag|buchungsart|art|vorgang|statut|etat|estado|tipo|stato|soort|stav|typ operace|typ|"
            "druh|typ operacji|rodzaj|situacao|transaksjonstype",
        "check":
            "check|check no|check number|check id|bill|bill no|bill number|order|order id|order no|"
            "order number|ticket|ticket no|receipt|receipt no|receipt number|tab|invoice|transaction|"
            "transaction id|sale id|bon|bonnr|bon nr|beleg|belegnr|beleg nr|rechnung|rechnungsnr|"
            "rechnung nr|tisch rechnung|vorgangsnr|addition|commande|note|cuenta|pedido|conto|"
            "scontrino|bestelling|rekening|id|bongnr|bong|kvittering|kvitteringsnr|kvitto|kvittonr|"
            "regning|ordre|ordrenr|uctenka|cislo uctenky|uctenka c|c uctenky|c dokladu|c uctu|checks number|"
            "orders number|rechnungs nr|rechnungsnummer|belegnummer|bonnummer|nota nr|num ticket|"
            "no ticket|n ticket|"
            "ucet|cislo uctu|doklad|"
            "cislo dokladu|paragon|nr paragonu|rachunek|nr rachunku|zamowienie|comanda|conta|folio|"
            "talao|fatura",
        "terminal":
            "terminal|till|till no|register|pos|station|workstation|device|till id|terminal id|"
            "register id|kasse|kassennr|kasse nr|caisse|caja|cassa|kassa|kassenr|pokladna|kasa|nr kasy|"
            "caixa",
        "outlet":
            "outlet|bar|revenue center|revenue centre|rev ctr|rev center|profit center|location|area|"
            "store|site|premises|room|venue|section|department name|bereich|theke|filiale|standort|"
            "verkaufsstelle|kostenstelle|salle|lieu|zona|local|reparto|sala|locatie|afdeling|avdeling|"
            "lokale|sted|avdelning|stredisko|provozovna|pobocka|dzial|lokal|punkt sprzedazy|setor|loja",
        "id":
            "id|line id|line no|line number|line|row id|row|uid|uuid|guid|item id|entry id|key|seq|"
            "sequence|record id|sale line id|lfd nr|laufende nr|nr|zeile|position|posnr|ligne|linea|"
            "riga|regel|linjenr|linjeid|lopenr|radnr|cislo radku|radek|poradi|lp|linha",
        "version":
            "version|revision|updated|updated at|modified|modified at|last modified|changed at|"
            "geandert|geaendert|modifie le|actualizado",
        "voided_at":
            "voided at|void time|voided on|cancelled at|canceled at|void date|storniert am|stornozeit|"
            "annule le|anulado el|annullato il|geannuleerd op|annullert|makulert|annulleret|"
            "stornovano v|data storna|cancelado em",
        "voids":
            "takes back|voids|void of|voided line|reverses|reversal of|cancels|refers to|refund of|"
            "original line|original id|storno zu|storniert|annule|anula a|annulla|annuleert|gjelder|"
            "storno k|dotyczy|estorno de",
        "staff":
            "staff|server|employee|clerk|cashier|user|waiter|bartender|operator|served by|rung by|"
            "seller|bediener|kellner|mitarbeiter|benutzer|serveur|employe|vendeur|camarero|empleado|"
            "cameriere|medewerker|selger|saelger|betjent av|ansatt|kasserer|medarbejder|saljare|"
            "personal|obsluha|cisnik|zamestnanec|pokladni|kelner|kasjer|pracownik|sprzedawca|atendente|"
            "garcom|operador|funcionario|mesero|vendedor",
    },
    "pours": {
        "tap":
            "tap|tap no|tap number|tap name|tap id|taps tap|taps name|taps id|faucet|line|line no|"
            "line name|beer line|dispense point|channel|spout|port|zapfhahn|hahn|zapfstelle|leitung|"
            "leitungsnr|tireuse|robinet|bec|grifo|spina|linea|kraan|tapkraan|kran|tappekran|tapp|hane|"
            "linje|kohout|vycep|pipa|kranik|nalewak|torneira|linha|llave",
        "meter":
            "meter|meter id|meter no|meter name|flowmeter|flow meter|sensor|sensor id|counter|zahler|"
            "zaehler|durchflussmesser|compteur|debitmetre|contador|misuratore|meters id|meters name|"
            "maler|maaler|matare|prutokomer|merak|citac|przeplywomierz|licznik|medidor",
        "start":
            "start|started|start time|started at|from|begin|began|begin time|opened|open|first|"
            "pour start|beginn|von|anfang|startzeit|debut|de|inicio|desde|inizio|da|begintijd|van|"
            "starttid|fra|pabegynt|begyndt|zacatek|od|poczatek|hora inicio|borjan|fran",
        "end":
            "end|ended|end time|ended at|to|until|finish|finished|stop|stopped|closed|close|last|"
            "pour end|time|timestamp|at|when|date time|datetime|ende|bis|endzeit|fin|a|hasta|fine|eind|"
            "eindtijd|tot|zeitpunkt|zeit|sluttid|slutt|slut|til|avsluttet|konec|do|koniec|fim|termino|"
            "hora fin|hora fim|till",
        "duration":
            "duration|seconds|secs|sec|length|elapsed|pour time|pour duration|flow time|ms|millis|"
            "dauer|sekunden|dauer s|duree|secondes|duracion|segundos|durata|secondi|duur|seconden|"
            "varighet|varighed|sekunder|trvani|doba|sekundy|czas trwania|duracao|varaktighet",
        "volume":
            "volume|vol|poured|amount|quantity|flow|flowed|dispensed|ml|millilitres|milliliters|litres|"
            "liters|l|cl|oz|fl oz|ounces|us oz|us fl oz|imp oz|size|volumen|menge|ausgeschenkt|liter|"
            "milliliter|quantite|litros|cantidad|quantita|litri|hoeveelheid|inhoud|total|totaliser|"
            "totalizer|running total|reading|cumulative|zahlerstand|stand|mengde|maengde|volum|mangd|"
            "objem|mnozstvi|litry|litr|objetosc|ilosc|quantidade|mililitros|mililitry|mililitr|"
            "decilitry|tellerstand|stav citace|stan licznika|leitura",
        "pulses":
            "pulses|pulse count|ticks|counts|count|clicks|impulse|impulsions|pulsos|impulsi|pulsen|"
            "pulser|pulsy|impulzy|impulsy|impulsos",
        "id":
            "id|pour id|event id|uid|uuid|guid|no|number|seq|sequence|key|record id|nr|lfd nr|pour",
        "product":
            "beer|beer name|product|product name|brand|beverage|drink|keg|taps beer|taps product|bier|"
            "biersorte|sorte|produkt|getrank|getraenk|biere|produit|cerveza|birra|bevanda|ol|olsort|"
            "pivo|piwo|cerveja",
        "outlet":
            "outlet|bar|revenue center|revenue centre|rev ctr|rev center|profit center|location|area|"
            "store|site|premises|room|venue|section|department name|bereich|theke|filiale|standort|"
            "verkaufsstelle|kostenstelle|salle|lieu|zona|local|reparto|sala|locatie|afdeling|zone|"
            "bars name|avdeling|lokale|sted|avdelning|stredisko|provozovna|pobocka|dzial|lokal|"
            "punkt sprzedazy|setor|loja",
        "version": "version|revision|updated|updated at|modified",
    },
    "kegs": {
        "at":
            "when|at|time|date|date time|datetime|timestamp|event time|datum|zeit|zeitpunkt|uhrzeit|"
            "heure|fecha|hora|data|ora|tijdstip|tijd|tidspunkt|dato tid|dato|klokkeslett|tid|datum cas|"
            "cas|data i godzina|godzina|czas",
        "kind":
            "what|event|action|kind|type|movement|activity|vorgang|art|aktion|bewegung|ereignis|"
            "mouvement|evenement|movimiento|evento|tipo|beweging|handling|hendelse|haendelse|handelse|"
            "bevegelse|akce|udalost|pohyb|zdarzenie|operacja|ruch|movimento",
        "tap":
            "tap|tap no|tap name|line|faucet|zapfhahn|hahn|leitung|robinet|grifo|spina|kraan|kran|"
            "tappekran|linje|kohout|vycep|pipa|kranik|nalewak|torneira|linha|llave",
        "product":
            "beer|product|beer name|brand|item|bier|sorte|produkt|biere|produit|cerveza|producto|birra|"
            "prodotto|ol|olsort|pivo|piwo|cerveja|produto",
        "outlet":
            "outlet|bar|revenue center|revenue centre|rev ctr|rev center|profit center|location|area|"
            "store|site|premises|room|venue|section|department name|bereich|theke|filiale|standort|"
            "verkaufsstelle|kostenstelle|salle|lieu|zona|local|reparto|sala|locatie|afdeling|from bar|"
            "from|cellar|keller|cave|kelder|bodega|cantina|avdeling|lokale|sted|avdelning|stredisko|"
            "provozovna|pobocka|dzial|lokal|punkt sprzedazy|setor|loja",
        "keg":
            "keg|keg no|keg id|keg number|serial|barcode|fass|fassnr|fass nr|fut|barril|fusto|vat|"
            "vatnr|fat|fatnr|fustage|sud|cislo sudu|beczka|nr beczki|barril nr",
        "size":
            "keg size|size|contents|capacity|litres|liters|fassgrosse|fassgroesse|inhalt|capacite|"
            "tamano|capacita|storrelse|storlek|velikost|objem|pojemnosc|tamanho",
        "units":
            "kegs|quantity|qty|count|number|full kegs|fasser|faesser|anzahl|menge|futs|quantite|"
            "barriles|cantidad|fusti|quantita|vaten|volle vaten|aantal|antall|antal|pocet|ilosc|"
            "quantidade|hele fat|plne sudy",
        "part":
            "part|part oz|partial|left|remaining|rest|part keg|open keg|restmenge|anbruch|reste|"
            "restant|resto|restante|parziale|aangebroken|zbytek|reszta",
        "gross_kg":
            "gross|gross kg|gross weight|weight|bruttogewicht|gewicht|poids brut|peso bruto|peso lordo",
        "tare_kg": "tare|tare kg|tare weight|empty weight|leergewicht|tara|poids vide",
        "cost":
            "cost|cost each|unit cost|price|price each|keg cost|einkaufspreis|preis|kosten|cout|prix|"
            "coste|precio|costo|prezzo|kostprijs|kostpris|innkjopspris|indkobspris|inkopspris|"
            "nakupni cena|cena zakupu|custo|preco",
        "to_outlet":
            "to bar|to outlet|to|moved to|destination|nach|ziel|vers|a local|destino|destinazione|naar|"
            "til|til avdeling|kam|dokad|para",
        "id": "id|event id|no|number|uid|uuid|key|record id|nr|lfd nr|lopenr|poradi|lp",
        "version": "version|revision|updated|updated at|modified",
    },
    "log": {
        "at":
            "when|at|time|date time|datetime|timestamp|start|started|from|date|zeitpunkt|zeit|uhrzeit|"
            "datum|von|heure|debut|fecha|hora|inicio|ora|inizio|tijd|tidspunkt|dato|klokkeslett|tid|"
            "fra|datum cas|cas|od|data i godzina|godzina|czas",
        "end":
            "until|end|ended|to|finish|bis|ende|fin|hasta|fine|tot|til|slutt|slut|do|konec|koniec|fim|till",
        "day":
            "day|day only|date|business day|tag|datum|jour|date seule|dia|fecha|giorno|data|dag|dato|"
            "den|dzien",
        "reason":
            "what for|reason|why|kind|type|category|purpose|grund|art|anlass|kategorie|motif|raison|"
            "motivo|razon|causale|reden|grunn|arsak|arsag|anledning|orsak|duvod|ucel|powod|razao",
        "tap":
            "tap|tap no|tap name|line|faucet|zapfhahn|hahn|leitung|robinet|grifo|spina|kraan|kran|"
            "tappekran|linje|kohout|vycep|pipa|kranik|nalewak|torneira|linha|llave",
        "product":
            "beer|product|beer name|brand|bier|sorte|produkt|biere|produit|cerveza|producto|birra|"
            "prodotto|ol|olsort|pivo|piwo|cerveja|produto",
        "outlet":
            "outlet|bar|revenue center|revenue centre|rev ctr|rev center|profit center|location|area|"
            "store|site|premises|room|venue|section|department name|bereich|theke|filiale|standort|"
            "verkaufsstelle|kostenstelle|salle|lieu|zona|local|reparto|sala|locatie|afdeling|avdeling|"
            "lokale|sted|avdelning|stredisko|provozovna|pobocka|dzial|lokal|punkt sprzedazy|setor|loja",
        "item":
            "menu item|item|article|drink|artikel|articulo|articolo|vare|vara|polozka|towar|pozycja|"
            "artigo",
        "units":
            "count|quantity|qty|number|units|how many|anzahl|menge|stuck|stueck|quantite|nombre|"
            "cantidad|quantita|aantal|antall|antal|pocet|mnozstvi|ilosc|quantidade",
        "volume":
            "ounces|oz|fl oz|ml|volume|amount|litres|liters|l|cl|liter|volumen|milliliter|litros|litri|"
            "hoeveelheid|mengde|maengde|volum|mangd|objem|litry|objetosc",
        "id": "id|no|number|uid|uuid|key|entry|nr|lfd nr|lopenr|poradi|lp",
        "version": "version|revision|updated|updated at|modified",
    },
}
