"""The day's page: one self-contained HTML file with charts as SVG, for screen, print and reader.

``charts``  coordinates of bars, dots and the ledger's picture; pure numbers
``view``    every text and figure of the page        ``render``  the template
"""
