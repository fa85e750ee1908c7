"""The words that sources use for what a row is: kind of feed to our kind to their words.

The languages of ``header_words``; from memory, no source.
"""

from __future__ import annotations

KINDS: dict[str, dict[str, str]] = {
    "rings": {
        "void":
            "void|voided|cancel|cancelled|canceled|deleted|delete|removed|storno|storniert|annule|"
            "annulation|anulado|anulacion|annullato|storno annullo|geannuleerd|v|annullert|annulleret|"
            "annullering|makulert|makulerad|slettet|stornovano|zruseno|anulowano|anulowany|cancelado|"
            "estorno|anulada",
        "comp":
            "comp|comped|complimentary|on the house|free|promo comp|gratis|aufs haus|einladung|"
            "freigetrank|offert|gratuit|invitacion|omaggio|van het huis|pa huset|bjudet|bjuds|zdarma|"
            "pozornost podniku|na koszt firmy|cortesia",
        "refund":
            "refund|refunded|return|returned|ruckerstattung|rueckerstattung|erstattung|gutschrift|"
            "retoure|remboursement|rembourse|retour|devolucion|reembolso|rimborso|reso|terugbetaling|"
            "refusjon|retur|aterbetalning|vratka|vraceni|dobropis|zwrot|devolucao",
        "training":
            "training|practice|test|demo|ubung|uebung|schulung|formation|practica|formazione|oefening|"
            "oving|opplaering|traening|ovning|skoleni|cvicny|szkolenie|treinamento",
        "sale":
            "sale|sold|ok|normal|paid|closed|open|regular|complete|completed|item|line|verkauf|"
            "verkauft|bezahlt|vente|vendu|venta|vendita|verkoop|false|no|n|0|s|salg|solgt|betalt|"
            "forsaljning|sald|betald|prodej|prodano|zaplaceno|sprzedaz|sprzedano|zaplacono|venda|"
            "vendido|pago",
    },
    "kegs": {
        "on":
            "on|tapped|connected|installed|hooked up|keg on|opened|changed on|start|angeschlossen|"
            "angezapft|an|angestochen|branche|mise en perce|conectado|pinchado|collegato|attaccato|"
            "aangesloten|aangeslagen|tilkoblet|tilsluttet|satt pa|ansluten|narazeno|narazen|pripojeno|"
            "podlaczono|podpieto|engatado",
        "off":
            "off|pulled|disconnected|removed|keg off|empty|kicked|blown|finished|abgenommen|leer|ab|"
            "debranche|vide|desconectado|vacio|scollegato|vuoto|afgekoppeld|leeg|frakoblet|frakoplet|"
            "tomt|bortkopplad|odpojeno|prazdny|dorazeno|odlaczono|pusty|desengatado|vazio",
        "delivery":
            "delivery|delivered|received|receipt|in|purchase|goods in|lieferung|geliefert|eingang|"
            "wareneingang|livraison|livre|recu|entrega|entregado|recibido|consegna|ricevuto|levering|"
            "geleverd|levert|leveret|mottatt|modtaget|leverans|levererad|dodavka|dodano|prijem|dostawa|"
            "dostarczono|przyjecie|recebido",
        "count":
            "count|counted|stock count|stocktake|stock|inventory|inventur|gezahlt|gezaehlt|bestand|"
            "zahlung|zaehlung|inventaire|recuento|inventario|conteo|inventarisatie|telling|geteld|talt|"
            "optalt|varetelling|optaelling|inventering|inventura|inwentaryzacja|contagem",
        "transfer":
            "transfer|transferred|moved|move|umlagerung|umgelagert|transfert|deplace|traslado|"
            "transferencia|trasferimento|spostato|verplaatst|overdracht|flyttet|flytting|overforing|"
            "flyttad|presun|prevod|przesuniecie",
        "return":
            "return|returned|sent back|ullage|rucksendung|ruecksendung|retoure|zuruck|zurueck|retour|"
            "renvoye|devolucion|devuelto|reso|restituito|teruggestuurd|retur|returnert|returneret|"
            "returnerad|vraceno|vratka|zwrot|devolvido|devolucao",
        "write_off":
            "write off|written off|scrapped|dumped|lost|damaged|abschreibung|abgeschrieben|verlust|"
            "perte|detruit|baja|perdida|perdita|scarto|afgeschreven|avskrevet|svinn|afskrevet|"
            "avskriven|odpis|odepsano|spisano|baixa|perda|kassert",
    },
    "log": {
        "comp":
            "comp|comped|complimentary|on the house|guest|aufs haus|einladung|gratis|gast|offert|"
            "invitacion|omaggio|van het huis|rondje|pa huset|gjest|gaest|bjuds|host|gosc|cortesia|"
            "convidado|na koszt firmy|na ucet podniku|zdarma",
        "staff":
            "staff|staff drink|staff drinks|employee|shift drink|shifty|personal|personalgetrank|"
            "mitarbeiter|haustrunk|personnel|empleado|personale|personeel|ansatt|ansatte|zamestnanec|"
            "zamestnanci|pracownik|pracownicy|funcionario|equipe",
        "waste":
            "waste|wasted|spill|spilled|spillage|foam|spoiled|dropped|bad|off|ullage|verlust|schwund|"
            "ausschuss|verschuttet|verschuettet|schaum|perte|mousse|casse|merma|derrame|spreco|schiuma|"
            "verspild|morsen|svinn|spild|skum|spillt|odpad|ztrata|pena|rozlito|strata|rozlane|piana|"
            "desperdicio|quebra|espuma",
        "cleaning":
            "cleaning|clean|line clean|line cleaning|cleaned|line cleaned|flush|reinigung|"
            "leitungsreinigung|gereinigt|spulung|spuelung|nettoyage|limpieza|pulizia|lavaggio|"
            "reiniging|schoonmaak|rengjoring|rengoring|rensning|rens|skylling|cisteni|proplach|"
            "sanitace|czyszczenie|plukanie|limpeza|lavagem",
        "sample":
            "sample|taster|tasting|taste|tester|probe|verkostung|kostprobe|degustation|echantillon|"
            "muestra|degustacion|assaggio|campione|proefje|proeverij|smaksprove|smagsprove|smakprov|"
            "ochutnavka|vzorek|degustacja|probka|prova|amostra|degustacao",
        "function":
            "function|event|party|banquet|private party|wedding|veranstaltung|feier|bankett|evenement|"
            "reception|fiesta|evento|banchetto|feest|arrangement|selskap|selskab|akce|impreza|wesele|"
            "festa|svatba|bryllup|brollop",
        "training":
            "training|practice|schulung|ubung|uebung|formation|practica|formazione|oefening|opplaering|"
            "formacion|practicas|utbildning|traening|ovning|skoleni|szkolenie|treinamento",
        "other":
            "other|misc|miscellaneous|sonstiges|andere|autre|otro|altro|overig|annet|andet|ovrigt|jine|"
            "ostatni|inne|outro|outros",
    },
}
