"""`evenbeam withdraw`: somebody no longer takes part → out of store, kept copies and rebuilt results.

The member number comes on standard input or in a file, never among the arguments, which the list of processes and the
shell's history would keep. Nothing of it is written anywhere but, as a tombstone, beside the store's key.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from pathlib import Path

import polars as pl

from pipeline import flow, running
from pipeline.faults import Fault, SettingsFault, StoreFault, nearest, printable
from pipeline.intake import archive, inbox, ledger, pseudonyms, tombstones
from pipeline.programme import Programme
from pipeline.removal.removing import Removed
from pipeline.seal.pseudonym import BLANKS, pseudonyms_kept
from pipeline.store import Store

MOST_NUMBERS = 10_000
_LONGEST_NUMBER = 200  # characters, as at intake


@dataclass(frozen=True)
class Withdrawal:
    """What became of it."""

    removed: Removed
    published: Path
    waiting: tuple[str, ...]  # files of the inbox and of sources that still hold rows of people who withdrew


def numbers_in(text: str) -> list[str]:
    """One member number a line; blank lines are none.

    Errors   SettingsFault for nothing, for far too much, and for a line that cannot be a number.
    """
    numbers = [line.strip(BLANKS) for line in text.splitlines()]
    numbers = [number for number in numbers if number]
    if not numbers or len(numbers) > MOST_NUMBERS:
        raise SettingsFault(
            "no member number" if not numbers else "too many member numbers",
            found="nothing" if not numbers else f"{len(numbers)} lines",
            expected=f"a member number on each line, up to {MOST_NUMBERS}",
            next="type it, or give a file: evenbeam withdraw PROGRAMME.toml --from FILE",
        )
    if any(len(number) > _LONGEST_NUMBER or not number.isprintable() for number in numbers):
        raise SettingsFault(
            "not a member number",
            found="a line that is too long or has control characters (it is not repeated here)",
            expected=f"up to {_LONGEST_NUMBER} characters, as sites' files write it",
            next="check the input; nothing was changed",
        )
    return list(dict.fromkeys(numbers))


def withdraw(
    path: Path,
    numbers: list[str],
    *,
    site: str | None,
    in_advance: bool,
    as_of: date,
    happened_at: datetime,
    on_step: Callable[[int, int, str], None],
    progress: flow.Progress,
) -> Withdrawal:
    """Remove the people of these member numbers, rebuild and publish.

    `site` is needed where numbers are a site's own (participant scope = "site" in its profile). `in_advance` keeps
    the wish of somebody of whom no row is there yet.
    Errors   SettingsFault for an unknown site, or a site that must be named; Fault for a number that no row has;
             StoreFault for a store whose earlier files have no account of each row. Nothing is changed then.
    """
    programme = Programme.read(path)
    own = _own_numbers(programme)
    scopes = _scopes(programme, site, own)
    waiting: list[str] = []
    steps = (
        flow.Step("withdraw", "Removing the rows", partial(_withdraw, numbers, scopes, site, own, in_advance, waiting)),
        *(step for step in flow.STEPS if step.name not in ("remove", "receive")),
    )
    outcome = running.run(
        path, as_of=as_of, started_at=happened_at, on_step=on_step, progress=progress, steps=steps
    )
    return Withdrawal(outcome.removed, outcome.published, tuple(waiting))


def _own_numbers(programme: Programme) -> frozenset[str]:
    """The sites whose numbers are their own, as their profiles say now."""
    return frozenset(
        one.id
        for one in programme.sites.values()
        if programme.profiles[one.id].columns["participant"].scope == "site"
    )


def _scopes(programme: Programme, site: str | None, own: frozenset[str]) -> list[str]:
    """The scope prefixes under which the number can stand, what its files are read by first.

    Where it means the same person everywhere, it is also theirs at each such site alone: rows may have been read while
    the profile said otherwise, and it may say otherwise again.
    """
    if site is not None and site not in programme.sites:
        raise SettingsFault(
            f"no site {printable(site)}",
            expected=f"a site of the programme{nearest(site, programme.sites)}",
            next="give one of those; nothing was changed",
        )
    if site is None and own:
        raise SettingsFault(
            "which site?",
            where=str(programme.path),
            found=f'member numbers that are a site\'s own (scope = "site") at {", ".join(sorted(own))}',
            expected="--site ID: the site that gave the number",
            next="name it; at a site whose numbers mean the same person everywhere, every site's rows go. "
            "Nothing was changed",
        )
    if site in own:
        return [site]
    return ["", *(one for one in programme.sites if one not in own)]


def _withdraw(
    numbers: list[str], scopes: list[str], site: str | None, own: frozenset[str], in_advance: bool, waiting: list[str],
    run: flow.Run,
) -> None:
    store, programme = run.store, run.programme
    _require_row_accounts(store)
    key = pseudonyms.read_key(programme.store / "pseudonym.key", accepted_files=ledger.accepted_files(store))
    people = [_Person.found(store, key, number, scopes, own if scopes[0] == "" else {site}) for number in numbers]
    known = set(tombstones.read(programme.store))
    unknown = [person for person in people if not person.sites]
    if unknown and not in_advance:
        again = sum(tombstones.tombstone_of(key, person.names[scopes[0]][0]) in known for person in unknown)
        raise Fault(
            "no such member number",
            found=f"{len(unknown)} of {len(people)} numbers that no row has (they are not repeated here)"
            + (f"; {again} of them withdrew before" if again else ""),
            expected="the number as the site's files write it, leading zeros and letters included",
            next="check it, and the site; with --in-advance the wish is kept for files that are still to come. "
            "Nothing was changed",
        )
    kept = [name for person in people for name in person.kept_out(scopes[0], site)]
    tombstones.add(programme.store, (tombstones.tombstone_of(key, name) for name in kept))
    next(step for step in flow.STEPS if step.name == "remove").does(run)
    waiting[:] = _still_with_senders(store, programme)


@dataclass(frozen=True)
class _Person:
    """Whose number it is: the pseudonyms it may have, by scope, and the sites where one of them has rows."""

    names: dict[str, tuple[str, ...]]
    sites: frozenset[str]

    @classmethod
    def found(cls, store: Store, key: bytes, number: str, scopes: list[str], own: Collection[str]) -> _Person:
        """own: the sites asked about whose numbers are their own.

        Errors   Fault where rows with this number were read there as the whole programme's: by the profile of now they
                 may be another person's.
        """
        names = {scope: pseudonyms_kept(key, scope, number) for scope in scopes}
        doubtful = _sites_of(store, pseudonyms_kept(key, "", number)) & set(own)
        if doubtful:
            raise Fault(
                "rows read with an earlier profile",
                where=f"inbox/{min(doubtful)}",
                found="rows with this number, read while the profile said that numbers mean the same person everywhere",
                expected='rows read as the profile says now, with scope = "site": whose the others are cannot be told',
                next="evenbeam rebuild PROGRAMME.toml reads them with the profile as it is now; then withdraw. Where "
                "kept copies are gone, put the profile back as it was, withdraw, and change it again. "
                "Nothing was changed",
            )
        return cls(names, _sites_of(store, [name for kept in names.values() for name in kept]))

    def kept_out(self, scope: str, site: str | None) -> list[str]:
        """Of the number as it is read now, and as the own number of each site where the person is known."""
        sites = (*sorted(self.sites), *([site] if site else []))
        return [name for one in dict.fromkeys((scope, *sites)) for name in self.names.get(one, ())]


def _sites_of(store: Store, names: Iterable[str]) -> frozenset[str]:
    """The sites of every row that has one of these pseudonyms."""
    with store.lent("wanted", pl.DataFrame({"participant": sorted(names)}, schema={"participant": pl.String})):
        found = store.rows(
            "select site from reading.accepted semi join wanted using (participant) union "
            "select site from ledger.unaccepted_row semi join wanted using (participant) "
            "join ledger.file using (file_id)"
        )
    return frozenset(site for (site,) in found)


def _require_row_accounts(store: Store) -> None:
    n = store.value("select count(*) from ledger.file where state = 'accepted' and not has_row_account")
    if n:
        raise StoreFault(
            "store of an earlier version",
            where=str(store.path),
            found=f"{n} files of which it is not known whose the held, duplicate and superseded rows are",
            expected="a store that this version has filled",
            next="move store/evenbeam.duckdb and store/archive aside (keep store/pseudonym.key and store/withdrawn), "
            "run with all files in the inbox, then withdraw. Delete what was moved aside. Nothing was changed",
        )


def _still_with_senders(store: Store, programme: Programme) -> list[str]:
    """Files of the inbox and of sources, which belong to the senders, of which rows were withdrawn."""
    found, _ = inbox.arrivals(programme)
    lost = set(store.rows("select site, sha256 from ledger.file where rows_withdrawn > 0"))
    fetched = store.rows("select site, sha256, url || '/' || path from ledger.fetched order by all")
    here = [f"inbox/{one.where}" for one in found if (one.site, archive.digest_of(one.path)[0]) in lost]
    return [*here, *(where for site, sha256, where in fetched if (site, sha256) in lost)]
