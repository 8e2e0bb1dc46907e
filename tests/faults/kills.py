"""Lives of one programme that are cut off by SIGKILL, each beside an undisturbed twin."""

from __future__ import annotations

import random
import shutil
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import soundness
from nights import (
    NIGHTS,
    SEAL,
    Ended,
    Night,
    begin,
    begun,
    command,
    delete,
    ended,
    export,
    forked,
    nothing,
    perform,
)


@dataclass(frozen=True)
class Before:
    """A night that went undisturbed: what there was before it and after it."""

    night: Night
    folder: Path  # before the command, with everything in place for it
    places: list[str]
    seconds: float
    published: tuple[str, str]  # digest before and after
    contents: dict[str, Any]  # after


@dataclass
class Kill:
    night: str
    place: str
    wrong: list[str] = field(default_factory=list)


def undisturbed(base: Path, nights: tuple[Night, ...] = NIGHTS) -> list[Before]:
    """The twin's life, with a copy of the programme before each night."""
    life, found = base / "twin", []
    begin(life)
    for number, night in enumerate(nights):
        night.prepare(life)
        before = base / f"before-{number}"
        shutil.copytree(life, before, symlinks=True)
        digest, _ = forked(lambda: soundness.published(life)).value
        began = time.monotonic()
        code, said, places = forked(lambda night=night: perform(night, life)).value
        seconds = time.monotonic() - began
        if code not in (0, 3):
            raise RuntimeError(f"{night.name}: exit code {code}: {said}")
        contents, faults, after = forked(
            lambda: (soundness.contents(life), soundness.faults(life), soundness.published(life)[0])
        ).value
        if night.arguments[0] != "run":
            faults = [fault for fault in faults if not fault.startswith("tally")]
        if faults:
            raise RuntimeError(f"{night.name}: {faults}")
        found.append(Before(night, before, places, seconds, (digest, after), contents))
    return found


def killed(before: Before, life: Path, *, place: int | None = None, after: float | None = None) -> Kill | None:
    """Begin the night in a copy, kill it, look at what is served, do it again, and compare with the twin.

    `place`: the number of a place, from 1; `after`: seconds. None where the command was faster than the kill.
    """
    night = before.night
    delete(life)
    shutil.copytree(before.folder, life, symlinks=True)
    name = before.places[place - 1] if place else "any moment"
    end: Ended = forked(lambda: perform(night, life, place), kill_after=after)
    if not end.signal:
        if place:
            raise RuntimeError(f"{night.name}: place {place} was not reached")
        return None
    kill = Kill(night.name, name)
    (digest, faults), of_frozen = forked(
        lambda: (soundness.published(life), soundness.frozen_faults(life))
    ).value
    kill.wrong += faults + of_frozen
    if digest not in before.published:
        kill.wrong.append("published/latest is neither the one before nor the one after")
    kill.wrong += again(before, life)
    if not kill.wrong:
        kill.wrong += forked(lambda: compared(before, life)).value
    return kill


def again(before: Before, life: Path) -> list[str]:
    """What an operator does after it: the same command, and where that was done already, what follows it."""
    night = before.night

    def work() -> list[str]:
        code, said = command(night.arguments, life, night.typed)
        if code in (0, 3):
            return []
        if "already frozen" in said and night.name == "release":
            return []
        if "withdrew before" in said and night.afterwards:
            answers = [command(one, life) for one in night.afterwards]
            return [f"afterwards: {said}" for code, said in answers if code not in (0, 3)]
        return [f"again: exit code {code}: {said}"]

    return forked(work).value


def compared(before: Before, life: Path) -> list[str]:
    wrong = soundness.faults(life)
    digest, faults = soundness.published(life)
    wrong += faults
    if digest != before.published[1]:
        wrong.append("published/latest is not the twin's")
    wrong += soundness.frozen_faults(life)
    found = soundness.contents(life)
    wrong += [f"{name} differs from the twin" for name in before.contents if found.get(name) != before.contents[name]]
    return wrong


def places_of(before: Before, chance: random.Random, most: int) -> list[int]:
    """The numbers of a night's places: renames, links and commits first, then others, up to `most`."""
    decisive = ("os.rename", "os.symlink", "before a commit", "after a commit", "open store/archive/ledger", "os.chmod")
    first, others = [], []
    for number, place in enumerate(before.places, start=1):
        (first if place.startswith(decisive) else others).append(number)
    chosen = chance.sample(first, min(len(first), most * 3 // 4))
    return sorted([*chosen, *chance.sample(others, min(len(others), most - len(chosen)))])


def campaign(
    base: Path,
    *,
    seed: int,
    at_places: int,
    at_random: int,
    workers: int = 1,
    nights: tuple[Night, ...] = NIGHTS,
) -> list[Kill]:
    """Kills at up to so many places of every night and at so many random moments, by so many processes at a time."""
    chance, lives = random.Random(seed), undisturbed(base, nights)
    work: list[tuple[Before, int | None, float | None]] = [
        (before, place, None) for before in lives for place in places_of(before, chance, at_places)
    ]
    for _ in range(at_random):
        before = chance.choice(lives)
        work.append((before, None, chance.random() * before.seconds))
    shares = [begun(lambda n=n: _share(base / f"killed-{n}", work[n::workers])) for n in range(workers)]
    return [kill for share in shares for kill in ended(share).value]


def _share(life: Path, work: list[tuple[Before, int | None, float | None]]) -> list[Kill]:
    kills = []
    for before, place, after in work:
        kill = killed(before, life, place=place, after=after)
        while kill is None:  # the command was faster than the kill
            after = after / 2
            kill = killed(before, life, after=after)
        kills.append(kill)
        if kill.wrong:
            print(kill, file=sys.stderr, flush=True)
        elif len(kills) % 20 == 0:
            print(f"      {len(kills)} of {len(work)} kills …", file=sys.stderr, flush=True)
    return kills


def sealings(base: Path, chance: random.Random, most: int) -> Iterator[Kill]:
    """A site's sealing, killed: no sealed file or a whole one, nothing left over, and the same file at the next try."""
    twin = base / "sealing"
    export(twin)
    code, said, places = forked(lambda: perform(Night("seal", nothing, SEAL), twin)).value
    whole = (twin / "export.sealed.csv").read_bytes()
    if code:
        raise RuntimeError(said)
    for place in sorted(chance.sample(range(1, len(places) + 1), min(most, len(places)))):
        folder = base / f"sealing-{place}"
        export(folder)
        forked(lambda folder=folder, place=place: perform(Night("seal", nothing, SEAL), folder, place))
        kill, final = Kill("seal", places[place - 1]), folder / "export.sealed.csv"
        if final.exists() and final.read_bytes() != whole:
            kill.wrong.append("half a sealed file under its final name")
        code, said = forked(lambda folder=folder: command(SEAL, folder)).value
        if code and "already sealed" not in said:
            kill.wrong.append(f"again: {said}")
        if final.read_bytes() != whole:
            kill.wrong.append("another sealed file than the twin's")
        profiles = [one / "site.sealed.toml" for one in (folder, twin)]
        if not profiles[0].exists() or profiles[0].read_bytes() != profiles[1].read_bytes():
            kill.wrong.append("another sealed profile than the twin's, or none")
        kill.wrong += [f"left over: {path.name}" for path in folder.glob(".*")]
        yield kill
