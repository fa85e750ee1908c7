"""The day's page: one self-contained HTML file with charts as SVG, for screen, print and reader.

``charts``  coordinates of bars, dots and the ledger's picture; pure numbers
``model``   what the template is given               ``view``    the page from the ledger
``picture`` the ledger as bars and sums              ``evenings`` each product through the day
``render``  the template
"""
