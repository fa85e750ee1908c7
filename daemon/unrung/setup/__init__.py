"""``unrung setup``: looks at sample exports, says how it understands them, writes a config folder.

Everything here runs once, with a person beside it. What it finds out is written down in
``venue.toml``; at run time nothing is guessed.
"""
