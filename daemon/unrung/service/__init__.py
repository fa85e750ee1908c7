"""``unrung run``: threads, signals, scheduler and clocks; nothing else of the project owns any.

``run``      starts, supervises, stops       ``workers``  a thread that does one step at a time
``watching`` folder events as hints          ``steps``    what the workers do
``logs``     one rotated file                ``lock``     one instance per config folder
"""
