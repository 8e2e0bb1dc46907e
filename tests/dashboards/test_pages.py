"""What stands in the pages' bytes: escaping, withheld figures, numbers, links, policy, weight. Mechanics."""

from __future__ import annotations

import json
import re
import shutil
from decimal import ROUND_HALF_UP, Decimal
from html.parser import HTMLParser

import polars as pl
from invented_release import HOSTILE_NAME, make_release

from dashboards import build_pages

POISON = 0.98765


class Page(HTMLParser):
    """A page's tables as lists of cell texts, its links, headlines, and its data block."""

    def __init__(self, text):
        super().__init__()
        self.rows, self.links, self.assets, self.inline, self.headlines, self.data = [], [], [], [], [], ""
        self._in, self._headline = None, False
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        if "style" in found or any(name.startswith("on") for name in found):
            self.inline.append((tag, found))
        if tag == "a":
            self.links.append(found["href"])
        if tag in ("script", "link", "img"):
            self.assets.append(found.get("src") or found.get("href") or "")
        if tag == "script" and "src" not in found:
            self._in = "data" if found.get("type") == "application/json" else "script"
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
            self._in = "cell"
        if tag == "style":
            self._in = "script"
        if "data-headline" in found:
            self.headlines.append("")
            self._headline = True

    def handle_endtag(self, tag):
        if tag in ("td", "th", "script", "style"):
            self._in = None
        if tag == "p":
            self._headline = False

    def handle_data(self, data):
        if self._headline:
            self.headlines[-1] += data
        if self._in == "cell":
            self.rows[-1][-1] += data
        elif self._in == "data":
            self.data += data
        elif self._in == "script":
            self.inline.append(("text", data))


def pages_of(folder):
    return {path.name: Page(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("*.html"))}


# ---- hostile words


def test_a_hostile_site_name_is_text_and_nothing_else(release_folder):
    seen = 0
    for path in release_folder.glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert "<script>alert" not in text, path.name
        seen += "&lt;script&gt;alert" in text
    assert seen >= 3
    data = json.loads(pages_of(release_folder)["sites.html"].data)
    assert (
        HOSTILE_NAME in next(d for d in data["cubes"]["sites"]["dimensions"] if d["name"] == "site")["labels"]
    )


def test_a_hostile_programme_name_and_check_are_text(tmp_path):
    folder = make_release(tmp_path, sites=2, quarters=2)
    facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
    facts["programme"] = "</title><script>alert(1)</script>"
    facts["checks"][0]["title"] = '"><img src=x onerror=alert(1)>'
    (folder / "release.json").write_text(json.dumps(facts), encoding="utf-8")
    build_pages(folder)
    for path in folder.glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert "<script>alert" not in text
        assert "<img" not in text


# ---- withheld figures


def test_a_withheld_figure_reaches_no_page_even_if_a_table_still_holds_it(tmp_path):
    folder = make_release(tmp_path, sites=3, quarters=2, base=12)
    clean = make_release(tmp_path / "clean", sites=3, quarters=2, base=12)
    poisoned = set()
    for path in sorted((folder / "data").glob("*.parquet")):
        frame = pl.read_parquet(path)
        hidden = pl.col("flag") == "withheld"
        withheld = frame.filter(hidden)
        figures = [c for c in frame.columns if withheld.height and withheld[c].is_null().all() and c != "site"
                   and frame.schema[c].is_numeric()]  # fmt: skip
        if not figures:
            continue
        poisoned.add(path.stem)
        frame.with_columns(*(
            pl.when(hidden).then(pl.lit(POISON if frame.schema[c] == pl.Float64 else 98765, dtype=frame.schema[c]))
            .otherwise(c).alias(c) for c in figures)).write_parquet(path)  # fmt: skip
    assert poisoned >= {"prevalence", "percentile", "data_quality", "standardised_prevalence", "trend", "who_position",
                        "percentile_curve", "site_comparison", "device", "instrument_check"}  # fmt: skip
    build_pages(folder)
    build_pages(clean)
    for path in clean.glob("*.html"):
        assert (folder / path.name).read_bytes() == path.read_bytes(), path.name


def test_a_withheld_row_says_so_with_its_reason_and_no_number(release_folder):
    texts = [path.read_text(encoding="utf-8") for path in release_folder.glob("*.html")]
    rows = [row for text in texts for row in re.findall(r'<tr data-state="w">(.*?)</tr>', text, re.S)]
    assert rows
    for row in rows:
        assert set(re.findall(r"<td>(.*?)</td>", row)) == {"withheld"}
    for text in texts:
        if 'data-state="w"' in text:
            assert "to protect people in small groups" in text


# ---- every number is a published one


def rounded(value, decimals):
    text = f"{Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP):,}"
    return text.replace(",", "\u202f").replace("-", "\u2212")


def published_texts(folder):
    """Every published figure as a page may write it, rounded here with decimal arithmetic."""
    facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
    decimals = {m["name"]: m["decimals"] for m in facts["measures"]}
    texts = {rounded(n, 0) for n in facts["counts"].values()}
    texts |= {rounded(len(facts["sites"]), 0), rounded(len(facts["periods"]), 0)}
    for name in ("prevalence", "data_quality"):
        frame = pl.read_parquet(folder / "data" / f"{name}.parquet")
        for column in {"proportion", "low", "high"} & set(frame.columns):
            texts |= {rounded(value * 100, 1) for value in frame[column].drop_nulls().unique()}
        for column in ("n", "denominator"):
            texts |= {rounded(value, 0) for value in frame[column].drop_nulls().unique()}
    frame = pl.read_parquet(folder / "data" / "percentile.parquet")
    for (measure,), part in frame.partition_by("measure", as_dict=True).items():
        for column in ("value", "low", "high"):
            texts |= {rounded(value, decimals[measure]) for value in part[column].drop_nulls().unique()}
    texts |= {rounded(value, 0) for value in frame["n"].drop_nulls().unique()}
    return texts | compared_texts(folder, decimals)


COMPARED = (  # table, columns, what one unit is multiplied by, decimals
    ("standardised_prevalence", ("proportion", "low", "high"), 100, 1),
    ("standardised_prevalence", ("n", "denominator"), 1, 0),
    ("trend", ("odds_ratio", "low", "high", "p"), 1, 3),
    ("trend", ("points_a_period",), 100, 2),
    ("trend", ("denominator",), 1, 0),
    ("who_position", ("proportion", "low", "high", "expected"), 100, 1),
    ("who_position", ("n", "denominator"), 1, 0),
    ("site_comparison", ("denominator",), 1, 0),
    ("site_comparison", ("q_value",), 1, 3),
    ("site_heterogeneity", ("i_squared",), 100, 0),
    ("site_heterogeneity", ("sites",), 1, 0),
    ("site_heterogeneity", ("q",), 1, 1),
    ("site_heterogeneity", ("p",), 1, 3),
    ("site_heterogeneity", ("overdispersion",), 1, 2),
)


def compared_texts(folder, decimals):
    """As `published_texts`, for the tables of curves, trends and sites compared."""
    texts = {"1"}  # no trend is an odds ratio of 1
    tables = {path.stem: pl.read_parquet(path) for path in (folder / "data").glob("*.parquet")}
    for table, columns, times, places in COMPARED:
        for column in columns:
            values = tables[table][column].drop_nulls().unique()
            texts |= {rounded(abs(v * times), places) for v in values} | {
                rounded(v * times, places) for v in values
            }
    for row in tables["percentile_curve"].iter_rows(named=True):
        texts |= {rounded(row[c], max(1, decimals[row["measure"]])) for c in ("value", "low", "high")
                  if row[c] is not None}  # fmt: skip
    for table in ("site_comparison", "site_heterogeneity"):
        figures = [
            c for c in tables[table].columns if re.search("value|low|high|reference|shrunken|mean|sd", c)
        ]
        for row in tables[table].iter_rows(named=True):
            times, places = (100, 1) if row["band"] else (1, decimals[row["topic"]])
            texts |= {
                rounded(row[c] * times, places + (c == "between_sd")) for c in figures if row[c] is not None
            }
    return texts


NUMBER = re.compile(r"\u2212?\d{1,3}(?:\u202f\d{3})+(?:\.\d+)?|\u2212?\d+(?:\.\d+)?")
# no figures of a table: what is counted on the page, ages, and the reason why there is no curve, which is text
NOT_FIGURES = re.compile(
    r"95 %|99\.8 %|Q[1-4] \d{4}|aged \d+(–\d+)?|of those aged|\d+–\d+|‘[^’]*’|at age \d+"
    r"|(for )?\d+ of (the )?\d+ (sites( with a firm figure)?|trends)|about \d+\.\d would|\d+ sites lie|\d+(st|rd|th)"
    r"|The reason: .*? years of age"
)


def test_every_number_of_the_tables_and_headlines_is_published(release_folder):
    known = published_texts(release_folder)
    frame = pl.read_parquet(release_folder / "data" / "data_quality.parquet")
    # data quality is shown over all periods: sums of published counts, and their shares
    sums = frame.group_by("site", "item").agg(pl.col("n").sum(), pl.col("denominator").sum())
    known |= {rounded(value, 0) for column in ("n", "denominator") for value in sums[column]}
    checked = 0
    for name, page in pages_of(release_folder).items():
        if name in ("methods.html", "data-quality.html"):
            continue
        texts = [
            cell
            for row in page.rows
            for cell in row[1:]
            if not re.search("[A-Za-z]{3}", cell.replace("kcal a day", ""))
        ]
        for text in texts + page.headlines:
            for number in NUMBER.findall(NOT_FIGURES.sub("", text).replace(" kg/m²", "")):
                if (
                    re.search(r"(\d+) of the (\d+) sites|other \d+|\d+ more", text)
                    and number.isdigit()
                    and int(number) <= 6
                ):
                    continue  # how many sites: counted on the page
                assert number in known, (name, text)
                checked += 1
    assert checked > 2000


def test_the_first_view_shows_exactly_the_rows_of_the_file(release_folder):
    page = pages_of(release_folder)["prevalence.html"]
    frame = pl.read_parquet(release_folder / "data" / "prevalence.parquet").filter(
        (pl.col("banding") == "bmi_adult") & pl.col("site").is_null() & (pl.col("period") == "2024Q4")
        & (pl.col("sex") == "all") & (pl.col("age_from") == 20) & (pl.col("age_to") == 99))  # fmt: skip
    titles = {"underweight": "Underweight", "normal": "Normal", "overweight": "Overweight",
              "obesity_1": "Obesity class I",
              "obesity_2": "Obesity class II", "obesity_3": "Obesity class III"}  # fmt: skip
    expected = {}
    for row in frame.iter_rows(named=True):
        per_cent = {c: rounded(row[c] * 100, 1) for c in ("proportion", "low", "high")}
        expected[titles[row["band"]]] = [
            f"{per_cent['proportion']}\u00a0%", f"{per_cent['low']} to {per_cent['high']}\u00a0%",
            rounded(row["n"], 0), rounded(row["denominator"], 0)]  # fmt: skip
    assert len(expected) == 6
    assert {row[0]: row[1:] for row in page.rows[1:7]} == expected


def test_data_quality_is_summed_over_periods_and_out_of_every_reading(release_folder):
    frame = pl.read_parquet(release_folder / "data" / "data_quality.parquet")
    page = json.loads(pages_of(release_folder)["data-quality.html"].data)
    cube = page["cubes"]["checks"]
    sites, checks = (d["keys"] for d in cube["dimensions"])
    compared = 0
    for s, site in enumerate(sites):
        for c, check in enumerate(checks):
            here = frame.filter(pl.col("site").fill_null("").eq(site) & (pl.col("item") == check))
            base = "rows_read" if here["severity"].first() == "hold" else "readings"
            out_of = frame.filter(pl.col("site").fill_null("").eq(site) & (pl.col("item") == base))
            at = s * len(checks) + c
            if "withheld" in here["flag"] or "withheld" in out_of["flag"]:
                assert cube["columns"]["n"][at] is None
            else:
                assert cube["columns"]["n"][at] == here["n"].sum()
                assert cube["columns"]["of"][at] == out_of["denominator"].sum()
                compared += 1
    assert compared > 10


def test_sites_that_are_expected_stand_by_urgency_and_others_do_not(tmp_path):
    folder = make_release(tmp_path, sites=4, quarters=2)
    facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
    states = (("on_time", "2025Q3"), ("silent", "2024Q4"), ("nothing_yet", None))
    for site, (state, last) in zip(facts["sites"], states, strict=False):
        site |= {"expected": "monthly", "last_period": last, "arrival": state}
    (folder / "release.json").write_text(json.dumps(facts), encoding="utf-8")
    build_pages(folder)
    text = (folder / "data-quality.html").read_text(encoding="utf-8")
    table = re.search(r'<section[^>]*id="arrivals">.*?<tbody>(.*?)</tbody>', text, re.DOTALL).group(1)
    rows = [re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row) for row in re.findall(r"<tr>(.*?)</tr>", table)]
    assert [row[1:] for row in rows] == [
        ["Every month", "–", "nothing yet"],
        ["Every month", "2024Q4", "silent"],
        ["Every month", "2025Q3", "on time"],
    ]


def test_without_expected_readings_there_is_no_such_table(release_folder):
    assert 'id="arrivals"' not in (release_folder / "data-quality.html").read_text(encoding="utf-8")


def test_the_first_page_names_the_sites_that_could_use_help_in_the_order_of_names(tmp_path):
    folder = make_release(tmp_path, sites=4, quarters=2)
    facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
    for site, state in zip(facts["sites"], ("late", "silent", "on_time", "nothing_yet"), strict=True):
        site |= {"expected": "monthly", "last_period": "2024Q4", "arrival": state}
    (folder / "release.json").write_text(json.dumps(facts), encoding="utf-8")
    build_pages(folder)
    late = sorted((s["name"] for s in facts["sites"] if s["arrival"] != "on_time"), key=str.casefold)
    text = (folder / "index.html").read_text(encoding="utf-8")
    assert f"Readings are overdue from {late[0]}, {late[1]} and {late[2]}." in text


def test_the_first_page_answers_with_a_sentence_of_the_page_it_leads_to(release_folder):
    answers = re.search(r'id="answers">.*?</section>', (release_folder / "index.html").read_text("utf-8"), re.S)[0]
    text = (release_folder / "sites.html").read_text("utf-8")
    assert any(sentence in answers for sentence in re.findall(r'class="headline"[^>]*>(.*?)</p>', text))
    assert 'href="outcomes.html"' not in answers  # this release has none
    assert 'href="methods.html#downloads"' in answers


def test_a_site_that_stopped_opens_with_its_last_period_and_says_so(tmp_path):
    folder = make_release(tmp_path, sites=4, quarters=3)
    facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
    site, last, before = facts["sites"][0]["id"], facts["periods"][-1], facts["periods"][-2]
    path = folder / "data" / "prevalence.parquet"
    rows = pl.read_parquet(path)
    gone = (pl.col("site") == site) & ((pl.col("period") == last) | (pl.col("banding") == "visceral_fat"))
    rows.filter(~gone.fill_null(False)).write_parquet(path)
    build_pages(folder)
    text = (folder / f"site-{site}.html").read_text(encoding="utf-8")
    assert f'<option value="{before}" selected>' in text or f'value="{before}" checked' in text
    assert "so the page opens with" in text
    assert 'id="visceral_fat"' not in text and "no figures of this site for ‘Visceral fat level’" in text


# ---- order, words, links, policy


def test_sites_stand_in_the_order_of_their_names(release_folder):
    facts = json.loads((release_folder / "release.json").read_text(encoding="utf-8"))
    names = sorted((site["name"] for site in facts["sites"]), key=str.casefold)
    page = pages_of(release_folder)["sites.html"]
    for start, rows in (("plain", ["All sites", *names]), ("funnel", names), ("shrunken", names)):
        first = next(i for i, row in enumerate(page.rows) if row[0] == rows[0])
        assert [row[0] for row in page.rows[first : first + len(rows)]] == rows, start
        del page.rows[: first + len(rows)]


def test_every_page_carries_the_cautions(release_folder):
    for path in release_folder.glob("*.html"):
        text = path.read_text(encoding="utf-8")
        for words in ("not a diagnosis", "implanted electronic device", "pregnancy", "time of day"):
            assert words in text, (path.name, words)


def test_hydration_never_stands_without_water_in_fat_free_mass(release_folder):
    shown = 0
    for path in release_folder.glob("*.html"):
        text = path.read_text(encoding="utf-8")
        if "Below the band" in text and path.name != "methods.html":
            shown += 1
            assert "is not by itself dehydration" in text, path.name
            assert re.search(
                r"[Ww]ater in fat-free mass: Half of|How much of the fat-free mass is water", text
            ), path.name
    assert shown >= 9


def test_links_and_assets_are_files_of_the_release(release_folder):
    for name, page in pages_of(release_folder).items():
        for target in page.links + page.assets:
            path = target.split("#")[0]
            assert not re.match(r"[a-z]+:|//", target) or target == "data:,", (name, target)
            assert not path or target == "data:," or (release_folder / path).is_file(), (name, target)


def test_the_policy_is_strict_and_nothing_stands_inline(release_folder):
    for path in release_folder.glob("*.html"):
        text = path.read_text(encoding="utf-8")
        policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text).group(1)
        assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self';")
        assert "unsafe" not in policy
        assert Page(text).inline == [], path.name


def test_no_own_script_or_style_names_an_address(release_folder):
    for name in ("cells.js", "charts.js", "page.js", "page.css"):
        assert not re.search(r"https?:|//[a-z]|fetch\(|XMLHttpRequest|innerHTML|eval\(", (
            release_folder / "assets" / name).read_text(encoding="utf-8").replace("// ", "")), name  # fmt: skip


# ---- bytes


def test_the_same_release_gives_the_same_bytes(release_folder, tmp_path):
    again = tmp_path / "again"
    shutil.copytree(release_folder, again, ignore=shutil.ignore_patterns("*.html", "assets"))
    written = build_pages(again)
    assert len(written) > 30
    for path in written:
        assert path.read_bytes() == (release_folder / path.relative_to(again)).read_bytes(), path.name


def test_pages_stay_light_with_two_hundred_sites(tmp_path):
    folder = make_release(tmp_path, sites=200, quarters=8, base=20, without=("percentile",))
    heavy = {path.name: path.stat().st_size for path in build_pages(folder)
             if path.suffix == ".html" and path.stat().st_size > 1_500_000}  # fmt: skip
    assert heavy == {}


def test_a_release_of_one_period_speaks_of_that_period_and_of_no_accounts_it_does_not_have(tmp_path):
    folder = make_release(tmp_path / "frozen", quarters=1, comparisons=False)
    path = folder / "data" / "data_quality.parquet"
    pl.read_parquet(path).filter(pl.col("period").is_not_null()).write_parquet(path)
    build_pages(folder)
    overview = (folder / "index.html").read_text(encoding="utf-8")
    assert "measured in Q1 2024" in overview and "from Q1 2024 to" not in overview
    quality = (folder / "data-quality.html").read_text(encoding="utf-8")
    assert 'id="rows"' not in quality and 'id="checks"' in quality
    assert "0 rows accepted" not in quality
