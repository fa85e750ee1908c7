"""What setup found out, on what it rests, and what it cannot know and has to ask."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Doubt:
    """A question that the files do not answer."""

    about: str
    """What it is about, such as "rings: time"."""
    question: str
    choices: tuple[tuple[str, str], ...]
    """(value, what it would mean), the likelier first. Empty: any text may be the answer."""
    proposed: str
    why: str
    """What the proposal rests on."""


@dataclass(frozen=True, slots=True)
class Found:
    """A value with what it rests on; ``doubt`` where the files leave it open."""

    value: str
    why: str = ""
    doubt: Doubt | None = None


Ask = Callable[[Doubt], str]
"""Gives the value to take: a person's answer, or what was proposed."""


@dataclass(slots=True)
class Notes:
    """What was decided without certainty, for the remarks in the files and for the screen."""

    ask: Ask
    taken: list[tuple[str, str]] = field(default_factory=list)
    """(about, sentence)."""

    def settle(self, about: str, found: Found) -> str:
        """The value of ``found``, asked for where it is in doubt; doubts are noted."""
        if found.doubt is None:
            return found.value
        answer = self.ask(found.doubt)
        if answer == found.doubt.proposed:
            self.note(about, f"{found.doubt.question} Taken: {answer} ({found.doubt.why}).")
        return answer

    def note(self, about: str, sentence: str) -> None:
        """Something that a person should look at."""
        self.taken.append((about, sentence))

    def of(self, about: str) -> list[str]:
        """The sentences about one thing."""
        return [sentence for key, sentence in self.taken if key == about]


def takes_proposals(doubt: Doubt) -> str:
    """What ``--yes`` answers."""
    return doubt.proposed
