"""Days of a long backlog, computed ahead in two processes while a third one writes them down.

``worker``   the two processes, as a pipe: each day's ledger, then its findings
``ledgers``  starts them and hands the ledgers over

Computing a day is two equal halves that need different things: the first the movements of three days,
the second the facts of 28 days before. So they go one behind the other, not day beside day. They read the
store and nothing else; only who started them writes, day after day as without them.
"""
