"""``unrung run``: threads, signals, scheduler and clocks; nothing else of the project owns any.

``run``      starts, ticks, stops                ``workers``  a thread that does one step at a time
``steps``    what most workers do                ``polling``  the same for each polled address
``issuer``   days due, today's alerts, months    ``child``    ... in a process that ends with the work
``watching`` folder events as hints              ``venue``    what the workers share
``logs``     one rotated file                    ``lock``     one instance per config folder
``clock``    what time it is                     ``notify``   a word to systemd
"""
