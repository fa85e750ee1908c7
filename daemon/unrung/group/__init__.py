"""Ledgers of a group of venues: the day's function mapped over exported partitions with Dask.

``days``    the same day function over a venue's exported days
``spread``  many venues and days as Dask tasks, each of which writes what it made
"""
