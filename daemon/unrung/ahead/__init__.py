"""Days of a long backlog, computed ahead in processes of their own while another one writes them down.

``worker``   the processes, as a pipe: each day's ledger, then its findings
``ledgers``  starts them and hands the ledgers over

Computing a day is two parts that need different things: the first the movements of three days, the second
the facts of 28 days before. So they go one behind the other. The first takes longer; of many days two
processes take turns at it, and the second of them hands on what the first one made. They read the store and
nothing else; only who started them writes, day after day as without them.
"""
