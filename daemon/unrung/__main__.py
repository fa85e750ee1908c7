"""``python -m unrung`` is the ``unrung`` command."""

from unrung.cli import main

if __name__ == "__main__":
    main()
