"""What a run should not leave unsaid at its end, beside what each file is told: a note each, and what to do next."""

from __future__ import annotations

from pipeline.faults import printable_first
from pipeline.intake.amounts import amount
from pipeline.language import untranslated
from pipeline.programme import Programme
from pipeline.publishing import Publication
from pipeline.release.since_frozen import counts_that_differ
from pipeline.store import Store, sql_text
from pipeline.waiting_figures import due_on, resting_on, said_of

MUCH_SET_ASIDE = 0.05  # of a site's accepted readings; chance and slips give well under 1 %


def remarks(store: Store, programme: Programme, publication: Publication) -> tuple[str, ...]:
    """The notes, in the order in which a run tells them."""
    return (
        *_much_set_aside(store),
        *_since_frozen(programme),
        *_changed_pages(publication.changed_before),
        *_waiting(store, programme),
        *untranslated(programme),
    )


def _much_set_aside(store: Store) -> tuple[str, ...]:
    """That many readings of a site were accepted and yet do not count."""
    by_site: dict[str, list[tuple]] = {}
    for site, *rest in store.rows(sql_text("63_status_set_aside.sql")):
        by_site.setdefault(site, []).append(tuple(rest))
    return tuple(
        f"note  {site}: {sum(n for _, n, _ in codes)} of {codes[0][2]} accepted readings do not count "
        f"({', '.join(f'{code} {n}' for code, n, _ in codes)})\n"
        '      next: where member numbers mean other people at other sites, give participant scope = "site" in its '
        "profile"
        for site, codes in by_site.items()
        if sum(n for _, n, _ in codes) > MUCH_SET_ASIDE * codes[0][2]
    )


def _since_frozen(programme: Programme) -> tuple[str, ...]:
    """That the working view has moved on from what is frozen, and how to publish the difference."""
    return tuple(
        f"note  published/latest shows {n} counts of {period} otherwise than its frozen release: it is the programme's "
        f'own view\n      next: give others the frozen one, or freeze the change: evenbeam release PROGRAMME.toml '
        f"{period} --why TEXT"
        for period, n in counts_that_differ(programme.published).items()
    )


def _changed_pages(names: tuple[str, ...]) -> tuple[str, ...]:
    """That files of published/latest were not as this program had written them, and are again."""
    if not names:
        return ()
    told = f"{amount(len(names), 'file')}: {printable_first(names)}"
    return (
        f"note  published/latest was not as it had been written ({told}), and is again\n"
        "      next: nothing; whoever wants to change pages changes a copy",
    )


def _waiting(store: Store, programme: Programme) -> tuple[str, ...]:
    """That figures over all periods wait for their day, and which it is."""
    day = resting_on(store)
    if day is None:
        return ()
    return (
        f"note  {said_of(day)}\n"
        f"      next: nothing; the first run from {due_on(programme, day)} on works them out, or now: "
        "evenbeam run PROGRAMME.toml --all-figures",
    )
