"""A long backlog: what can be done ahead, in a process of its own, while who started it writes.

``process``  such a process, and how the two talk
``reader``   one that reads exports, in order       ``exports``  starts it and hands over what it read
``worker``   one that computes ledgers, in order    ``ledgers``  starts it and hands the ledgers over
``backwards``  what who started it computes itself rather than wait
``stretches``  the days that the two share out, some at a time

A ledger takes about as long as all else of a day together, and reading an export about half as long as adding
its rows. The processes read, files or the store, and nothing else; only who started them decides and writes,
one thing after the other as without them.
"""
