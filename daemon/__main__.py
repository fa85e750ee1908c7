"""``python3 daemon``: make ``.venv`` in this checkout, install Unrung into it, run the demo.

Arguments go to ``unrung demo``. Any older Python can read this file, so that it can say what it
lacks; everything else is in ``checkout_venv``.
"""

import os
import sys

if sys.version_info < (3, 11):  # noqa: UP036 - the one place that an older Python reaches
    sys.stderr.write(
        "Unrung needs Python 3.11 or newer; this is Python " + sys.version.split()[0]
        + " (" + sys.executable + ").\n"
        "Install a newer one and run it by its name, for example: python3.11 daemon\n"
    )
    sys.exit(3)

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from checkout_venv import main, run_demo

sys.exit(main(run_demo, sys.argv[1:]))
