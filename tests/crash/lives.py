"""A night lived through once undisturbed and once for each of its moments, killed there and started again.

In a process that holds the program and nothing else: it is forked for every moment, and a fork costs what a
process holds.
"""

from __future__ import annotations

import gc
import os
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable
from copy import copy
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any, NamedTuple

from crash.everything import everything, files, standing
from crash.fuse import in_child
from crash.nights import NIGHTS, Night, Wall, bar
from crash.post import Post, serving
from crash.sound import is_sound
from polling.server import Served
from polling.server import serving as web
from unrung.issue import monthly
from unrung.matching import prepare
from venue_folder import VenueFolder, ms


def moments_of(name: str) -> dict[str, int]:
    """Live through the night of that name; the number of moments of each of its steps. Raises AssertionError,
    which says where, once the night ends otherwise than undisturbed."""
    make_once()
    gc.freeze()  # or every child copies the pages of all that was read
    night = next(one for one in NIGHTS if one.name == name)
    memory, wall, moments = Path("/dev/shm"), Wall(), dict[str, int]()
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as folder, \
            web(wall.answer) as served, serving() as post:
        stage = Stage(Path(folder), wall, served, post)
        venue = stage.at_dusk(night)
        for step in night.steps:
            moments[step] = stage.kill_everywhere(night, step, venue)
            night.go(venue, step)
    return moments


@cache
def make_once() -> None:
    """What matching makes of a day's rows, and the workbook of a month's figures, are functions of these
    alone and last nowhere: what nearly every life of a night comes to is made in the first of them."""
    for module, name in ((prepare, "prepare_days"), (monthly, "workbook_bytes")):
        setattr(module, name, _known(getattr(module, name)))


def _known(act: Callable[..., Any]) -> Callable[..., Any]:
    """``act``, done once for the same arguments."""
    made: dict[str, Any] = {}

    def known(*given: Any) -> Any:
        told = repr(given)
        if told not in made:
            made[told] = act(*given)
        return copy(made[told])  # a list of them is its own

    return known


class Ends(NamedTuple):
    """How the undisturbed night ended, and the files that were there before it."""

    mails: Counter[tuple[str, str]]
    beats: int
    everything: dict[str, object]
    before: dict[str, bytes]
    after: dict[str, bytes]


class State(NamedTuple):
    """Where a night stands: its folder, the mails that came, those of them that may come again, the beats."""

    folder: str
    mails: frozenset[tuple[tuple[str, str], int]]
    twice: frozenset[tuple[tuple[str, str], int]]
    beats: int


@dataclass
class Stage:
    """The servers, and a folder for the venues. Disks do not matter to a killed process: what it
    wrote is in the system's hands, so memory serves where there is some."""

    folder: Path
    wall: Wall
    served: Served
    post: Post

    def at_dusk(self, night: Night) -> VenueFolder:
        """The venue after all the nights before, undisturbed."""
        venue = bar(self.folder / "dusk", self.served.url, self.post.port)
        for one in NIGHTS:
            one.arrives(venue, self.wall)
            if one is night:
                break
            one.go(venue)
        self.forget()
        return venue

    def kill_everywhere(self, night: Night, step: str, dusk: VenueFolder) -> int:
        """Kill ``step`` at each of its moments, start again, compare; returns how many there are.
        Where there are none, nothing is left to compare."""
        self.forget()
        calm = copy_of(dusk, "calm")
        moments = in_child(lambda: night.go(calm, step))
        assert moments is not None
        if not moments:
            return 0
        night.go(calm)
        ends = Ends(self.post.copies(), self.beats(), everything(calm), files(dusk), files(calm))
        well = set[State]()
        for at, moment in enumerate(moments, 1):
            self.forget()
            killed = copy_of(dusk, "killed")
            where = f"killed while {step}, at moment {at}: {moment}"
            assert in_child(partial(night.go, killed, step), at) is None, where
            self.post.rest()
            is_sound(killed, ends.before, ends.after)
            self.ends_alike(night, step, killed, ends, well, where)
        return len(moments)

    def ends_alike(
        self, night: Night, step: str, killed: VenueFolder, ends: Ends, well: set[State], where: str
    ) -> None:
        """Started again, the night ends as the undisturbed one. ``well``: states, just after a kill or after
        the ``step`` in which it came, from which it was seen to; it grows."""
        twice = self.post.copies() - known_sent(killed, self.post)
        passed = [self.state(night, killed, twice)]

        def seen_before(done: str) -> bool:
            if done == step:
                passed.append(self.state(night, killed, twice))
            return passed[-1] in well

        if passed[0] in well or not night.go(killed, enough=seen_before):
            return
        self.post.rest()
        differs = differing(everything(killed), ends.everything)
        assert differs == {}, f"{where}: {differs}"
        copies, expected = self.post.copies(), ends.mails + twice
        assert copies == expected, f"{where}: {copies} and not {expected}"
        assert self.beats() >= ends.beats, where
        well.update(passed)

    def state(self, night: Night, venue: VenueFolder, twice: Counter[tuple[str, str]]) -> State:
        """All that the rest of the night, and what is asked of its end, depend on."""
        self.post.rest()
        copies = self.post.copies()
        return State(standing(venue, ms(night.now)), frozenset(copies.items()), frozenset(twice.items()),
                     self.beats())

    def forget(self) -> None:
        self.post.rest()
        self.post.taken.clear()
        self.served.asked.clear()

    def beats(self) -> int:
        return sum(1 for asked in self.served.asked if asked.path.startswith("/alive"))


def known_sent(venue: VenueFolder, post: Post) -> Counter[tuple[str, str]]:
    """Of what the server took, what stands in the store as sent: the rest is sent once more, since the
    kill fell between the server's word and ours."""
    known: Counter[tuple[str, str]] = Counter()
    if (venue.path / "unrung.sqlite").exists() and post.taken:
        sent = venue.query("SELECT message_id, recipient FROM outbox o JOIN outbox_recipients r "
                           "ON r.outbox = o.id WHERE r.state = 'sent'")
        known = Counter((row["message_id"], row["recipient"]) for row in sent)
    return known


def differing(found: dict[str, Any], expected: dict[str, Any]) -> dict[str, Any]:
    """Only what differs, so that a failure can be read."""
    return {
        name: (found.get(name), expected.get(name)) for name in found.keys() | expected.keys()
        if found.get(name) != expected.get(name)
    }


def copy_of(venue: VenueFolder, name: str) -> VenueFolder:
    """The same folder under another name."""
    path = venue.path.with_name(name)
    shutil.rmtree(path, ignore_errors=True)
    shutil.copytree(venue.path, path)
    return VenueFolder(path)
