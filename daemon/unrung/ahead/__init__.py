"""Ledgers of a long backlog, computed ahead in processes of their own while who started them writes.

``worker``   one of the processes: the ledgers of its days
``ledgers``  starts them and hands the ledgers over

A ledger takes as long as all else of a day together. Of many days two processes take turns at them, and the
second of them hands on what the first one made. They read the store and nothing else; only who started them
finds out what the ledgers show, and writes, day after day as without them.
"""
