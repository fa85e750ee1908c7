"""Movements and ledger leaves as Parquet, by venue and business day, for other tools to read.

``columns``  every table with its columns       ``layout``  which file lies where
``files``    rows to bytes and back             ``export``  one venue from its store
"""
