"""Pages in another language: every word of them comes from the catalogue. Mechanics, over the invented release.

The language of these tests puts every text between brackets, so that a word outside of them is one that no translator
could reach. What may stand outside is data: names of the programme, its sites and analysers, names of files, tables and
columns, periods, numbers and units.
"""

from __future__ import annotations

import json
import re
import shutil
import zipfile
from html.parser import HTMLParser
from io import BytesIO

import pytest
from babel.messages.pofile import read_po, write_po
from invented_outcomes import add_outcomes
from invented_release import make_release
from pypdf import PdfReader

from dashboards import CatalogueUnreadable, build_pages, read_catalogue, still_english, write_catalogue
from dashboards.catalogue import FILE, speaking
from dashboards.english import ENGLISH
from dashboards.wording import TEXT, say_of

OPEN, CLOSE = "⟦", "⟧"
LANGUAGE = "cy"  # five forms of a plural: one, two, three, six and the rest
# units, file names and the program's own name; p, q and so on are the same everywhere
DATA = re.compile(r"\b(?:kg/m2|kg/m²|kcal/d|kg|cm|kJ|CSV|Parquet|evenbeam|Q[1-4])\b")
SEEN = ("aria-label", "alt", "title", "placeholder")


def filled_in(folder, path, change=lambda text: OPEN + text + CLOSE):
    """The release's catalogue with every text translated by `change`."""
    write_catalogue(folder, path, LANGUAGE)
    with path.open("rb") as file:
        found = read_po(file)
    for message in found:
        if message.id:
            ids = (message.id,) if isinstance(message.id, str) else message.id
            message.string = change(ids[0]) if len(ids) == 1 else tuple(change(ids[-1]) for _ in message.string)
    with path.open("wb") as file:
        write_po(file, found, width=0)


def changed(path, name, change):
    """Change one message of a catalogue in place."""
    with path.open("rb") as file:
        found = read_po(file)
    change(next(message for message in found if message.context == name))
    with path.open("wb") as file:
        write_po(file, found, width=0)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The invented release with its pages in the language of brackets."""
    made = add_outcomes(make_release(tmp_path_factory.mktemp("elsewhere")))
    filled_in(made, made / FILE)
    facts = json.loads((made / "release.json").read_text())
    facts["written"]["language"] = LANGUAGE
    (made / "release.json").write_text(json.dumps(facts))
    build_pages(made)
    return made


class Seen(HTMLParser):
    """What a reader sees or is read: texts of elements and of the attributes that are spoken, but no code."""

    def __init__(self, text):
        super().__init__()
        self.texts, self.language, self._hidden, self.data = [], None, 0, ""
        self._in_data = False
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        if tag == "html":
            self.language = attributes["lang"]
        self._in_data = attributes.get("id") == "data"
        self._hidden += tag in ("script", "style", "code")
        self.texts += [attributes[name] for name in SEEN if attributes.get(name)]

    def handle_endtag(self, tag):
        self._hidden -= tag in ("script", "style", "code")

    def handle_data(self, data):
        if self._in_data:
            self.data += data
        elif not self._hidden:
            self.texts.append(data)


def outside(text):
    """What stands outside of all brackets."""
    depth, rest = 0, []
    for letter in text:
        depth += (letter == OPEN) - (letter == CLOSE)
        if depth == 0 and letter != CLOSE:
            rest.append(letter)
    return "".join(rest)


def names_of(folder):
    facts = json.loads((folder / "release.json").read_text())
    return sorted([facts["programme"], *(site["name"] for site in facts["sites"])], key=len, reverse=True)


def strange_words(text, names):
    rest = outside(text)
    for name in names:
        rest = rest.replace(name, " ")
    rest = DATA.sub(" ", re.sub(r"\S*\b(?:data/\S+|\w+\.(?:html|csv|parquet|json|pdf|xlsx))", " ", rest))
    return re.findall(r"[^\W\d_]{2,}", rest)


def spoken_in(data):
    """The texts in a page's data: labels, sentences, words, heads, and the titles and texts of its charts."""
    for cube in data["cubes"].values():
        for dimension in cube["dimensions"]:
            yield from dimension["labels"]
    yield from data["words"].values()
    for figure in data["figures"]:
        yield from figure["headlines"].values()
        yield figure["none"]
        yield from figure["instead"].values()
        for column in figure["columns"]:
            yield from (column["label"], column["missing"], *column["words"])
        yield from titles_in(figure["spec"])


def titles_in(spec):
    if isinstance(spec, dict):
        if isinstance(spec.get("title"), str):
            yield spec["title"]
        for value in spec.values():
            yield from titles_in(value)
    elif isinstance(spec, list):
        for value in spec:
            yield from titles_in(value)


def test_every_word_on_every_page_is_of_the_catalogue(folder):
    names, pages = names_of(folder), sorted(folder.glob("*.html"))
    assert len(pages) > 20
    for path in pages:
        page = Seen(path.read_text(encoding="utf-8"))
        assert page.language == LANGUAGE
        assert sum(OPEN in text for text in page.texts) > 10
        texts = [*page.texts, *(spoken_in(json.loads(page.data)) if page.data else ())]
        strange = {text: words for text in texts if (words := strange_words(text, names))}
        assert not strange, (path.name, dict(list(strange.items())[:5]))


def test_the_workbook_and_the_pdf_are_of_the_catalogue_too(folder):
    pdf = PdfReader(BytesIO((folder / "report.pdf").read_bytes()))
    assert pdf.root_object["/Lang"] == LANGUAGE
    words = "".join(page.extract_text() for page in pdf.pages)
    assert words.count(OPEN) == words.count(CLOSE) > 50
    with zipfile.ZipFile(folder / "tables.xlsx") as parts:
        book = parts.read("xl/sharedStrings.xml").decode()
    assert OPEN + ENGLISH["footer.caution"] + CLOSE in book
    facts = json.loads((folder / "release.json").read_text())
    for table in facts["tables"]:
        assert table["description"].replace("&", "&amp;") + CLOSE in book or not table["rows"]


def test_what_is_not_translated_stands_in_english_and_is_counted(folder, tmp_path):
    shutil.copytree(folder / "data", tmp_path / "data")
    shutil.copy(folder / "release.json", tmp_path)
    shutil.copy(folder / FILE, tmp_path / FILE)
    assert still_english(tmp_path)[:2] == (LANGUAGE, 0)
    changed(tmp_path / FILE, "nav.sites", lambda message: setattr(message, "string", ""))
    changed(tmp_path / FILE, "nav.report", lambda message: message.flags.add("fuzzy"))
    language, missing, texts = still_english(tmp_path)
    assert (language, missing) == (LANGUAGE, 2) and texts > 500
    with speaking(read_catalogue(tmp_path / FILE)):
        assert TEXT["nav.sites"] == "Sites" and TEXT["nav.report"] == "Report"
        assert TEXT["nav.methods"] == OPEN + ENGLISH["nav.methods"] + CLOSE


def test_a_release_in_english_has_no_catalogue_and_lacks_nothing(release_folder):
    assert not (release_folder / FILE).exists()
    assert still_english(release_folder) is None


def test_renewing_keeps_what_is_done_and_marks_what_was_made_for_other_english(folder, tmp_path, monkeypatch):
    path = tmp_path / "cy.po"
    shutil.copy(folder / FILE, path)
    monkeypatch.setitem(ENGLISH, "nav.sites", "Places")
    monkeypatch.setitem(ENGLISH, "nav.new", "A new text")
    missing, _ = write_catalogue(folder, path, LANGUAGE)
    assert missing == 2
    with path.open("rb") as file:
        found = {message.context: message for message in read_po(file) if message.id}
    assert found["nav.sites"].fuzzy and found["nav.sites"].string == OPEN + "Sites" + CLOSE
    assert found["nav.new"].string == ""
    assert not found["nav.report"].fuzzy


@pytest.mark.parametrize(("n", "form"), [(0, 0), (1, 1), (2, 2), (3, 3), (6, 4), (7, 0)])
def test_a_language_has_as_many_plurals_as_it_needs(tmp_path, release_folder, n, form):
    path = tmp_path / "cy.po"
    write_catalogue(release_folder, path, LANGUAGE)
    changed(path, "h.compare.far", lambda message: setattr(message, "string", tuple(f"form {i}" for i in range(5))))
    with speaking(read_catalogue(path)):
        assert say_of("h.compare.far", n, far=n) == f"form {form}"


def test_english_has_two():
    assert say_of("methods.rows", 1, rows=1) == "1 row"
    assert say_of("methods.rows", 0, rows=0) == "0 rows"


def test_texts_of_one_have_a_text_of_many_and_ask_for_no_more_than_it():
    fields = {name: set(re.findall(r"{(\w+)", text)) for name, text in ENGLISH.items()}
    ones = [name for name in ENGLISH if name.endswith(".one")]
    assert ones
    for name in ones:
        assert fields[name] <= fields[name.removesuffix(".one")]


@pytest.mark.parametrize(("name", "translation", "found"), [
    ("stamp", "{last} {people}", "{people}"),
    ("stamp", "{last", "stamp"),
    ("stamp", "{last.__class__}", "{last.__class__}"),
    ("nav.sites", "{}", "{}"),
])  # fmt: skip
def test_a_translation_that_could_not_be_filled_in_is_refused(tmp_path, release_folder, name, translation, found):
    path = tmp_path / "cy.po"
    write_catalogue(release_folder, path, LANGUAGE)
    changed(path, name, lambda message: setattr(message, "string", translation))
    with pytest.raises(CatalogueUnreadable, match=re.escape(found)):
        read_catalogue(path)


def test_what_is_no_catalogue_is_refused(tmp_path):
    path = tmp_path / "cy.po"
    path.write_text("not a catalogue")
    with pytest.raises(CatalogueUnreadable, match=r"PO"):
        read_catalogue(path)
    path.write_text('msgid ""\nmsgstr ""\n')
    with pytest.raises(CatalogueUnreadable, match="no language"):
        read_catalogue(path)
