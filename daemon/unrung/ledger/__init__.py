"""From the movements of three days to one day's ledger; pure functions, no clock, disk or network.

``inputs``   movements as typed lines          ``outlets``  bars and pools by name
``menu``     what an item is made of, on a date ``voids``    what the till took back
``taps``     what a tap poured, on a date       ``splits``   fractions that were one drink
``rings``    till lines to ring units           ``pours``    metered rows to beer and gas
``material`` one day's movements, made ready    ``coverage`` spans, and silences in them
``heard``    when each side was really heard    ``pairs``    serves and rings, with and without
``cleaning`` what flowed while a line was cleaned ``said``   what a log entry says
``rest``     what entries and kegs explain      ``listing``  entries by reason, and without a pour
``day``      three materials to a ledger        ``words``    its notices, as sentences
``results``  the ledger itself                  ``draft``    the ledger while it is being made
``tuples``   rows by the tens of thousands    ``clocks``   how till and meters stand to each other
"""
