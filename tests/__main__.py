"""``python3 tests``: make ``.venv`` in this checkout, install Unrung into it, run every check.

Without arguments: pytest, ``ruff check`` and mypy. With arguments: pytest alone, given them.
Any older Python can read this file, so that it can say what it lacks; everything else is in
``daemon/checkout_venv.py``.
"""

import os
import sys

if sys.version_info < (3, 11):  # noqa: UP036 - the one place that an older Python reaches
    sys.stderr.write(
        "Unrung needs Python 3.11 or newer; this is Python " + sys.version.split()[0]
        + " (" + sys.executable + ").\n"
        "Install a newer one and run it by its name, for example: python3.11 tests\n"
    )
    sys.exit(3)

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), os.pardir, "daemon"))

from checkout_venv import main, run_tests

sys.exit(main(run_tests, sys.argv[1:]))
