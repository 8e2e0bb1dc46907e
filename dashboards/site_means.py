"""The pages "How do sites differ?" for the mean of a measure, one for each measure that sites are compared by."""

from __future__ import annotations

from collections.abc import Mapping

from dashboards import axes
from dashboards.cubes import Dimension
from dashboards.figures import Control
from dashboards.page import Choice, Page
from dashboards.percentiles import measure_titles
from dashboards.release import Release
from dashboards.site_comparison import Scale, Topic, comparison, periods_compared, rows_compared
from dashboards.wording import TEXT, group_words, say, unit_word

NO_BAND = Dimension("band", ("",), ("",))


def site_file(site: str) -> str:
    return f"site-{site}.html"


def site_order() -> Control:
    """By name or by people measured, and by nothing else."""
    return Control("order", (("name", TEXT["order.name"]), ("people", TEXT["order.people"])), "name")


def mean_files(release: Release) -> dict[str, str]:
    """Measure → the page that compares sites by its mean. "mean" keeps the names apart from those of bandings."""
    if not release.has("site_comparison"):
        return {}
    topics = set(release.rows("site_comparison")["topic"].unique())
    return {name: f"sites-mean-{name.replace('_', '-')}.html" for name in release.measures if name in topics}


def mean_page(release: Release, name: str, files: Mapping[str, str]) -> Page:
    """Sites compared by the mean of one measure. files: measure → its page."""
    measure, titles = release.measures[name], measure_titles(release)
    decimals = measure["decimals"]  # a release tells a mean to three digits: more decimals would be noughts
    links = {key: site_file(key) for key in release.site_names}
    word = unit_word(measure["unit"])
    scale = Scale("" if word == "level" else word, 10**decimals, decimals)
    cubes, figures = comparison(release, Topic(name, NO_BAND, scale, links, ("period",)))
    rows = rows_compared(release, name)
    period = periods_compared(release, rows)
    controls = axes.controls_for(period, defaults={"period": period.keys[-1]})
    group = group_words("all", rows["age_from"].min(), rows["age_to"].max())
    return Page(
        file=files[name],
        section="sites",
        title=say("sites.mean.title", measure=titles[name]),
        question=TEXT["sites.question"],
        lead=TEXT["sites.mean.lead"],
        template="sites.html",
        cubes=cubes,
        controls={**controls, "order": site_order()},
        figures=tuple(figures),
        choices=(
            Choice(TEXT["sites.shares"], "sites.html", False),
            *(Choice(titles[key], file, key == name) for key, file in files.items()),
        ),
        choice_label=TEXT["choice.measure"],
        more={
            "about": say("sites.mean.about", measure=titles[name], group=group),
            "sites": [(title, links[key]) for key, title in release.site_names.items()],
        },
    )
