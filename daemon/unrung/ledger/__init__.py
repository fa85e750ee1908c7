"""From the movements of three days to one day's ledger; pure functions, no clock, disk or network.

``inputs``  movements as typed lines       ``menu``     what an item is made of, on a date
``taps``    what a tap poured, on a date   ``rings``    till lines to ring units
``pours``   metered rows to beer           ``rest``     log entries and keg changes
``coverage`` where silence means nothing   ``material`` one day's movements, made ready
``day``     three materials to a ledger    ``results``  the ledger itself
"""
