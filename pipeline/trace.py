"""From one published figure back to the readings, files and lines under it, for the programme's own analysts."""

from __future__ import annotations

from pathlib import Path

from pipeline.faults import Fault, SettingsFault, nearest, printable
from pipeline.measures import BANDINGS
from pipeline.programme import Programme
from pipeline.store import Store, sql_text


def trace_prevalence(
    path: Path, *, banding: str, band: str, period: str, sex: str, ages: tuple[int, int], site: str | None
) -> list[tuple]:
    """The readings counted in one cell of the prevalence table: (reading_id, site, file, line, measured_on).

    Errors   SettingsFault naming the choices when the banding, band or site is unknown, or no figure is made of the
             ages; Fault when nothing has been run yet or the period holds no reading.
    """
    programme = Programme.read(path)
    _require_known(programme, banding, band, site)
    database = programme.store / "evenbeam.duckdb"
    if not database.exists():
        raise Fault(
            "nothing to trace", where=str(database), expected="a store", next="evenbeam run PROGRAMME.toml"
        )
    with Store.open(database, read_only=True) as store:
        periods = [one for (one,) in store.rows("select distinct period from tally.band order by period")]
        if period not in periods:
            raise Fault(
                f"no readings in {printable(period)}",
                expected=f"a period with readings{nearest(period, periods)}",
                next="give one of those",
            )
        _require_a_figure(store, banding, ages)
        return store.rows(
            sql_text("70_trace_prevalence.sql"),
            {
                "banding": banding,
                "banding_age_from": BANDINGS[banding].age_from,
                "banding_age_to": BANDINGS[banding].age_to,
                "band": band,
                "period": period,
                "sex": sex,
                "age_from": ages[0],
                "age_to": ages[1],
                "site": site,
            },
        )


def _require_known(programme: Programme, banding: str, band: str, site: str | None) -> None:
    if banding not in BANDINGS:
        raise SettingsFault(
            f"no banding {printable(banding)}",
            expected=f"a banding{nearest(banding, BANDINGS)}",
            next="give one of those",
        )
    bands = [one.name for one in BANDINGS[banding].bands]
    if band not in bands:
        raise SettingsFault(
            f"no band {printable(band)}",
            where=banding,
            expected=f"a band{nearest(band, bands)}",
            next="give one of those",
        )
    if site is not None and site not in programme.sites:
        raise SettingsFault(
            f"no site {printable(site)}",
            expected=f"a site of the programme{nearest(site, programme.sites)}",
            next="give one of those",
        )


def _require_a_figure(store: Store, banding: str, ages: tuple[int, int]) -> None:
    """Readings of ages of which the prevalence table has no row stand behind no figure.

    Errors   SettingsFault with the three groups whose ends lie nearest.
    """
    groups = store.rows(
        "select distinct age_from, age_to from result.prevalence where banding = $banding", {"banding": banding}
    )
    if ages in groups:
        return
    near = sorted(groups, key=lambda group: (abs(group[0] - ages[0]) + abs(group[1] - ages[1]), group))[:3]
    raise SettingsFault(
        f"no figure of ages {ages[0]}-{ages[1]}",
        where=banding,
        expected="an age group of the prevalence table"
        + (f"; the nearest are {', '.join(f'{first}-{last}' for first, last in near)}" if near else ""),
        next="give one of those",
    )
