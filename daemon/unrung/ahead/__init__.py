"""Ledgers of a long backlog, computed ahead in a process of its own while who started it writes.

``worker``   that process: the ledgers, one after the other
``ledgers``  starts it and hands the ledgers over

A ledger takes about as long as all else of a day together. The process reads the store and nothing else;
only who started it finds out what the ledgers show, and writes, day after day as without it.
"""
