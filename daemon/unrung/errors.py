"""One tree of errors. ``str()`` says what went wrong, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence


class UnrungError(Exception):
    """Base of every expected failure; shown to people without a traceback."""


class ConfigError(UnrungError):
    """The config folder cannot be used; holds every problem found, as sentences."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


class ExportError(UnrungError):
    """A whole export cannot be read. Names the file, the line, the field, the value and the fix.

    ``line`` is the physical line (CSV) or the row's ordinal (JSON), 0 when unknown.
    """

    def __init__(
        self, reason: str, *, name: str = "", line: int = 0, field: str = "",
        value: str = "", fix: str = "",
    ) -> None:
        self.reason, self.name, self.line = reason, name, line
        self.field, self.value, self.fix = field, value, fix
        where = name + (f", line {line}" if line else "") + (f", field {field!r}" if field else "")
        said = f" (found {value[:80]!r})" if value else ""
        advice = f" {fix}" if fix else ""
        stop = "" if reason.endswith(("?", ".", "!")) and not said else "."
        super().__init__((f"{where}: " if where else "") + f"{reason}{said}{stop}{advice}")


class IncompleteExport(ExportError):
    """The export looks cut off at its end; the next version of the file may be whole."""


class SourceError(UnrungError):
    """A folder or an endpoint cannot be reached. ``permanent``: trying again cannot help."""

    def __init__(self, message: str, *, permanent: bool = False) -> None:
        self.permanent = permanent
        super().__init__(message)


class StoreError(UnrungError):
    """The store cannot be opened or written, or is not ours."""


class StoreLost(StoreError):
    """It is damaged, empty, another program's or a newer version's: no new start heals that, a person
    is needed."""


class DeliveryError(UnrungError):
    """A mail was not accepted. ``permanent``: trying again cannot help."""

    def __init__(self, message: str, *, permanent: bool = False) -> None:
        self.permanent = permanent
        super().__init__(message)


class AlreadyRunning(UnrungError):
    """Another instance holds the lock of this config folder."""
