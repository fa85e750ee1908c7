"""The SQLite store: the only package that imports sqlite_utils.

``open``       opening, checks, transactions        ``schema``    tables and migrations
``sources``    exports, rejected rows, spans        ``movements`` rows in, rows out
``days``       what is dirty, issued, the leaves    ``outbox``    mails and who has them
"""

import sys

_UNUSED = [name for name in ("numpy", "pandas") if name not in sys.modules]
for _name in _UNUSED:
    # sqlite_utils loads both where they are installed, for types that nothing here stores: 45 MB in
    # a service that runs for years. None in this place reads as "not installed".
    sys.modules[_name] = None  # type: ignore[assignment]
try:
    import sqlite_utils  # noqa: F401
finally:
    for _name in _UNUSED:
        del sys.modules[_name]
