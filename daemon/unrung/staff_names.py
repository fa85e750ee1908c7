"""What ``unrung check`` says about names of staff: whether they are stored, for how long, and what
has to be done first."""

from __future__ import annotations

from collections.abc import Iterator

from unrung.settings import Settings


def staff_words(settings: Settings) -> Iterator[str]:
    """Sentences; none where no feed maps ``staff``."""
    names = [feed.name for feed in settings.feed if "staff" in feed.fields]
    if not names:
        return
    days = settings.venue.keep_staff_days
    where = ", ".join(map(repr, names))
    if days is None:
        yield (f"staff is mapped in feed {where} and stored nowhere, since [venue] keep_staff_days is "
               "unset.")
        return
    yield (f"Names of staff (feed {where}) are stored for {days} days. Tell the staff before the first "
           "name is recorded: what is kept, for how long, and who sees it.")
    kept = settings.upkeep.keep_days
    yield ("The exports in the archive hold the names as the till wrote them, "
           + ("for as long as nobody deletes them ([upkeep] keep_days is unset)."
              if kept is None else f"for {kept} days ([upkeep] keep_days)."))
