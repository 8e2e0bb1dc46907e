"""`evenbeam verify`: one frozen folder, or every frozen version of a programme."""

from __future__ import annotations

from pathlib import Path

from pipeline.faults import Fault, SettingsFault, nearest, printable
from pipeline.programme import Programme
from pipeline.release import frozen, manifest
from pipeline.release.verify import Verdict, verify
from pipeline.store import Store


def verify_all(target: Path, period: str | None) -> list[Verdict]:
    """Verdicts on one folder, or on a programme's versions of one or every period.

    Of a programme the manifests are also held to what the store recorded when they were frozen, and a version that
    was frozen and is gone is a fault.
    Errors   Fault where there is nothing to verify; SettingsFault for a path that is not there, or a
             period given with a folder.
    """
    if not target.exists():
        raise SettingsFault(
            "no frozen release",
            where=str(target),
            found="no such file or folder",
            expected="a folder that `evenbeam release` froze, or a programme's settings",
            next="name the folder, such as published/releases/2025Q3",
        )
    if (target / manifest.NAME).is_file():
        if period is not None:
            raise SettingsFault(
                "a folder has one period",
                found=printable(period),
                expected="the folder alone, or a programme's settings and a period",
                next="leave the period out",
            )
        return [verify(target)]
    is_settings = target.suffix == ".toml" or (target / "programme.toml").is_file()
    if not is_settings:
        return [verify(target)]  # says what is missing there
    programme = Programme.read(target)
    recorded = _recorded(programme)
    versions = frozen.versions_in(programme.published)
    every = sorted({*versions, *(frozen.Version(*key) for key in recorded)})
    wanted = [one for one in every if period in (None, one.period)]
    if not wanted:
        there = sorted({one.period for one in every})
        raise Fault(
            "nothing frozen" if period is None else f"no frozen release of {printable(period)}",
            where=str(programme.published / frozen.RELEASES),
            expected=f"a frozen period{nearest(period, there)}" if period and there else "a frozen period",
            next="evenbeam release PROGRAMME.toml PERIOD",
        )
    verdicts = []
    for one in wanted:
        folder = frozen.folder_of(programme.published, one)
        digest = recorded.get((one.period, one.number))
        if one not in versions:
            verdicts.append(Verdict(folder, 0, digest or "", ("missing  the whole folder",)))
        else:
            verdicts.append(verify(folder, recorded_sha256=digest))
    return verdicts


def _recorded(programme: Programme) -> dict[tuple[str, int], str]:
    """(period, version) → the manifest's sha256, of every version that the store saw frozen."""
    database = programme.store / "evenbeam.duckdb"
    if not database.exists():
        return {}
    with Store.open(database, read_only=True) as store:
        rows = store.rows(
            "select period, version, manifest_sha256 from ledger.release where state = 'frozen' order by all"
        )
    return {(period, version): digest for period, version, digest in rows}
