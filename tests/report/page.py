"""A written report against result.json and the rules of an accessible page.

usage: page.py OUT LANGUAGE [unittest arguments]

OUT holds what `tidemark measure FOLDER --out OUT` wrote. Rules: WCAG 2.1 (success criteria 1.1.1,
1.3.1, 1.4.3, 1.4.11, 2.4.1, 2.4.2, 2.4.6, 3.1.1, 4.1.1, 4.1.2), as far as a machine can tell.
"""
import base64
import hashlib
import html.parser
import json
import pathlib
import re
import subprocess
import sys
import unittest

OUT, LANGUAGE = pathlib.Path(sys.argv[1]), sys.argv[2]
del sys.argv[1:3]
HTML = (OUT / "report.html").read_text(encoding="utf-8")
RESULT = json.loads((OUT / "result.json").read_text())
VOID = {"meta", "input", "br", "img", "link", "path", "use", "image", "circle", "rect", "fecolormatrix"}
MOST_BYTES = 6_000_000


class Node:
    def __init__(self, tag, attributes, parent):
        self.tag, self.attributes, self.parent, self.children, self.text = tag, attributes, parent, [], ""

    def walk(self):
        yield self
        for child in self.children:
            yield from child.walk()

    def all(self, *tags):
        return [node for node in self.walk() if node.tag in tags]

    def words(self):
        return " ".join((self.text + " " + " ".join(c.words() for c in self.children)).split())

    def __getitem__(self, name):
        return self.attributes.get(name)


class Tree(html.parser.HTMLParser):
    """Builds the tree and refuses elements that are not closed in order."""

    def __init__(self):
        super().__init__()
        self.root = self.at = Node("", {}, None)

    def handle_starttag(self, tag, attributes):
        node = Node(tag, dict(attributes), self.at)
        assert len(attributes) == len(node.attributes), f"<{tag}> says one thing twice"
        self.at.children.append(node)
        if tag not in VOID:
            self.at = node

    def handle_startendtag(self, tag, attributes):
        self.at.children.append(Node(tag, dict(attributes), self.at))

    def handle_endtag(self, tag):
        assert tag == self.at.tag, f"</{tag}> closes <{self.at.tag}>"
        self.at = self.at.parent

    def handle_data(self, data):
        self.at.text += data


def tree():
    parser = Tree()
    parser.feed(HTML)
    parser.close()
    assert parser.at is parser.root, f"<{parser.at.tag}> is not closed"
    return parser.root


def shown(value, u95):
    """"value ± u95" as docs/cli.md words the rule: two digits of u95, at most two decimals."""
    decimals = 2
    while decimals > 0 and u95 * 10 ** decimals >= 99.5:
        decimals -= 1
    number = f"{value:+.{decimals}f}"
    if not re.search("[1-9]", number):
        number = "+" + number[1:]
    text = f"{number} ± {u95:.{decimals}f}".replace("-", "\N{MINUS SIGN}")
    return text.replace(".", ",") if LANGUAGE == "de" else text


def values():
    """Every measured value of every comparison as it has to be shown."""
    for pair in RESULT["comparisons"]:
        if pair["status"] != "measured":
            continue
        for m in (pair["subsidence_mm"], *pair["subsidence_at_mm"].values(), pair["medial_mm"],
                  pair["tilt_change_deg"]):
            yield shown(m["value"], m["u95"])


def assessed():
    """Every sentence of the assessment that has to be shown, the headline's first. In German they are told from the
    same findings in other words (see Translated)."""
    if LANGUAGE != "en":
        return
    assessment = RESULT["assessment"]
    yield assessment["headline"]["sentence"]
    yield assessment["headline"]["doubt"]
    yield assessment["course"]["text"]
    yield from (in_its_row(finding) for finding in assessment["findings"])


VERDICTS = {"en": ("above the limit", "within the limit", "cannot tell", "not applied"),
            "de": ("über der Grenze", "innerhalb der Grenze", "nicht zu entscheiden", "nicht angewandt")}


def citation_of(item):
    """A citation stays in the language of its source; what only describes one is translated."""
    german = {"Common practice, no source": "Verbreitete Praxis, keine Quelle"}
    return german.get(item["citation"], item["citation"]) if LANGUAGE == "de" else item["citation"]


def verdict_words(language):
    return dict(zip(("exceeds", "within", "cannot_tell", "not_applicable"), VERDICTS[language]))


def in_its_row(finding):
    """An English finding beside its criterion and verdict, which it does not repeat."""
    text = finding["text"]
    rest = text.removeprefix(f'{finding["criterion"]}: ')
    if rest == text:
        return text
    rest = rest.removeprefix(f'{verdict_words("en")[finding["verdict"]]}; ')
    return rest[0].upper() + rest[1:]


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ")


class Page(unittest.TestCase):
    def test_document(self):
        root = tree()
        self.assertTrue(HTML.startswith("<!DOCTYPE html>"))
        (page,) = root.all("html")
        self.assertEqual(LANGUAGE, page["lang"])
        (title,) = [t for t in root.all("title")]
        self.assertTrue(title.words())
        self.assertEqual(1, len(root.all("main")))
        viewport = [m["content"] for m in root.all("meta") if m["name"] == "viewport"]
        self.assertEqual(1, len(viewport))
        self.assertNotRegex(viewport[0], "user-scalable|maximum-scale")  # 1.4.4
        self.assertLessEqual(len(HTML.encode()), MOST_BYTES)
        self.assertNotIn("[[", HTML.split("<script>")[0])  # a text that is missing

    def test_headings_go_down_by_one(self):
        levels = [int(n.tag[1]) for n in tree().all("h1", "h2", "h3", "h4", "h5", "h6")]
        self.assertEqual(1, levels.count(1))
        self.assertEqual(1, levels[0])
        for before, after in zip(levels, levels[1:]):
            self.assertLessEqual(after, before + 1)

    def test_order_of_the_page(self):
        wanted = ["history", "course", "pair", "zones", "values", "criteria", "signs", "seat", "method", "cautions"]
        found = [n["id"] for n in tree().all("section") if n["id"]]
        self.assertEqual([one for one in wanted if one in found], found)
        for one in ("course", "pair", "zones", "values", "criteria", "method", "cautions"):
            self.assertIn(one, found)

    def test_ids_and_what_refers_to_them(self):
        ids = [n["id"] for n in tree().walk() if n["id"]]
        self.assertEqual(len(ids), len(set(ids)))
        for node in tree().walk():
            for name in ("aria-labelledby", "aria-describedby", "for"):
                for one in (node[name] or "").split():
                    self.assertIn(one, ids)
            if (node["href"] or "").startswith("#"):
                self.assertIn(node["href"][1:], ids)

    def test_pictures_say_what_they_show(self):
        for node in tree().all("svg", "img"):
            hidden = node["aria-hidden"] == "true"
            labelled = node["role"] == "img" and (node["aria-label"] or "").strip()
            self.assertTrue(hidden or labelled or (node["alt"] or "").strip(), node.attributes)

    def test_controls_have_names(self):
        for node in tree().all("input", "button"):
            inside = node
            while inside and inside.tag != "label":
                inside = inside.parent
            self.assertTrue(node["aria-label"] or node.words() or (inside and inside.words()))
        for node in tree().all("fieldset"):
            self.assertEqual("legend", node.children[0].tag)
        for node in tree().walk():
            self.assertLessEqual(int(node["tabindex"] or 0), 0)

    def test_tables(self):
        tables = tree().all("table")
        self.assertGreaterEqual(len(tables), 4)
        for table in tables:
            self.assertEqual("caption", table.children[0].tag)
            self.assertTrue(table.children[0].words())
            head, *rows = table.all("tr")
            self.assertTrue(rows)
            for cell in head.children:
                self.assertEqual(("th", "col"), (cell.tag, cell["scope"]))
                self.assertTrue(cell.words())
            for row in rows:
                self.assertEqual(len(head.children), len(row.children))
                self.assertEqual(("th", "row"), (row.children[0].tag, row.children[0]["scope"]))
            # Wider than a phone, so it scrolls, and what scrolls can be reached by keyboard.
            self.assertEqual(("0", "region"), (table.parent["tabindex"], table.parent["role"]))

    def test_readable_without_script(self):
        (pair, *_) = [n for n in tree().all("figure") if n["class"] == "pair"]
        (controls,) = [n for n in pair.walk() if n["class"] == "controls"]
        self.assertIn("hidden", controls.attributes)  # useless without script, so not shown
        self.assertGreaterEqual(len(pair.all("svg")), 4)

    def test_nothing_is_fetched(self):
        self.assertNotRegex(HTML, r"(?i)https?:|//[a-z0-9-]+\.[a-z]|@import|<link|<iframe|\bsrc=")
        for node in tree().all("image", "use"):
            self.assertRegex(node["href"], r"^(#|data:image/jpeg;base64,)")
        (policy,) = [m["content"] for m in tree().all("meta")
                     if m["http-equiv"] == "Content-Security-Policy"]
        self.assertTrue(policy.startswith("default-src 'none';"))
        script = re.search(r"<script>(.*)</script>", HTML, re.S).group(1)
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        self.assertIn(f"'sha256-{digest}'", policy)

    def test_validator(self):
        run = subprocess.run(["tidy", "-q", "-e", "-utf8", OUT / "report.html"], capture_output=True,
                             text=True)
        # The empty span is filled by the script.
        left = [line for line in run.stderr.splitlines() if "trimming empty <span>" not in line]
        self.assertEqual([], left)


def luminance(colour):
    """WCAG 2.1, definition of relative luminance."""
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


class Contrast(unittest.TestCase):
    def test_formula(self):
        self.assertAlmostEqual(21.0, contrast("#000000", "#FFFFFF"), 9)
        self.assertAlmostEqual(4.54, contrast("#767676", "#FFFFFF"), 2)  # well known, from memory

    def test_text(self):
        colours = dict(re.findall(r"--(\w+): (#[0-9A-F]{6});", HTML))
        for ink in ("text", "muted", "measure", "alert"):
            for ground in ("paper", "band"):
                self.assertGreaterEqual(contrast(colours[ink], colours[ground]), 4.5, (ink, ground))
        drawn = set(re.findall(r'<text[^>]* fill="(#[0-9A-F]{6})"', HTML))
        self.assertTrue(drawn)
        for fill in drawn:
            self.assertGreaterEqual(contrast(fill, colours["paper"]), 4.5, fill)
            self.assertIn(fill, colours.values())  # drawings and style have one palette

    def test_outlines_on_films(self):
        """1.4.11 asks for 3; the dark edge gives it whatever the film is like beneath."""
        style = HTML.split("</style>")[0]
        edge = re.search(r"\.edge \{ stroke: (#\w+)", style).group(1)
        for line in ("solid", "dashed"):
            colour = re.search(r"\.%s \{ stroke: (#\w+)" % line, style).group(1)
            self.assertGreaterEqual(contrast(colour, edge), 3.0)
        self.assertRegex(style, r"\.dashed \{[^}]*stroke-dasharray")  # told apart without colour


class Numbers(unittest.TestCase):
    def test_every_value_is_on_the_page(self):
        wanted = list(values())
        self.assertGreaterEqual(len(wanted), 12)
        words = plain(tree().words())
        for one in wanted:
            self.assertIn(one, words)

    def test_values_stand_in_their_row(self):
        (table,) = [t for t in tree().all("table") if t["id"] == "values-table"]
        rows = [[plain(c.words()) for c in r.children] for r in table.all("tr")[1:]]
        self.assertEqual(len(RESULT["comparisons"]), len(rows))
        for pair, row in zip(RESULT["comparisons"], rows):
            at = pair["subsidence_at_mm"]
            wanted = [shown(m["value"], m["u95"])
                      for m in (pair["subsidence_mm"], at["head_centre"], at["shoulder"], at["tip"],
                                pair["medial_mm"], pair["tilt_change_deg"])]
            self.assertEqual([str(pair["days"]), *wanted], row[1:])

    def test_assessment(self):
        words = plain(tree().words())
        for one in assessed():
            self.assertIn(" ".join(plain(one).split()), words)
        (head,) = [s for s in tree().all("section") if (s["class"] or "").startswith("headline")]
        if LANGUAGE == "en":
            self.assertIn(RESULT["assessment"]["headline"]["sentence"], [p.words() for p in head.all("p")])
        finding = {"exceeds": "look", "within": "calm"}.get(RESULT["assessment"]["headline"]["verdict"], "open")
        self.assertIn(finding, head["class"].split())

    def test_every_finding_stands_in_its_row(self):
        words = verdict_words(LANGUAGE)
        findings = RESULT["assessment"]["findings"]
        self.assertGreaterEqual(len(findings), 10)
        for number in range(len(RESULT["comparisons"])):
            (table,) = [t for t in tree().all("table") if t["id"] == f"criteria-table-{number + 1}"]
            wanted = [f for f in findings if f["comparison"] == number]
            rows = table.all("tr")[1:]
            self.assertEqual(len(wanted), len(rows))
            for finding, row in zip(wanted, rows):
                cells = [plain(c.words()) for c in row.children]
                self.assertEqual([finding["criterion"], words[finding["verdict"]]], cells[:2])
                p = finding.get("probability_exceeds")
                shown_p = ("–" if p is None else "< 1 %" if p < 0.01 else "> 99 %" if p > 0.99
                           else cells[2])
                self.assertEqual(shown_p, cells[2])
                if p is not None and 0.01 <= p <= 0.99:
                    near = 0.51 if 0.1 <= p <= 0.9 else 0.11
                    self.assertLessEqual(abs(float(cells[2].rstrip(" %").replace(",", ".")) - 100 * p), near)
                if LANGUAGE == "en":
                    self.assertTrue(cells[3].startswith(plain(in_its_row(finding))))
                elif "measured" in finding and finding["because"] in (
                        "decided", "guard_band", "outside_window", "no_threshold", "finer_than_film", "rises", "flagged"):
                    self.assertIn(shown(finding["measured"]["value"], finding["measured"]["u95"]), cells[3])
                self.assertTrue(cells[4].startswith(citation_of(finding)))

    def test_every_measure_of_the_seat_stands_in_its_row(self):
        seat = RESULT["assessment"]["seat"]
        (table,) = [t for t in tree().all("table") if t["id"] == "seat-table"]
        rows = [[plain(c.words()) for c in r.children] for r in table.all("tr")[1:]]
        self.assertEqual(len(seat), len(rows))
        planned = any("planned" in item for item in seat)
        self.assertEqual({4 if planned else 3}, {len(row) for row in rows})
        for number, (item, row) in enumerate(zip(seat, rows), 1):
            if LANGUAGE == "en":
                self.assertEqual(f"{number}. {item['name']}", row[0])
            if "measured" in item:
                number = shown(item["measured"]["value"], item["measured"]["u95"])
                self.assertIn(number.lstrip("+\N{MINUS SIGN}"), row[1])
            elif LANGUAGE == "en":
                self.assertEqual("not measured", row[1])
                self.assertIn(plain(item["reason"]), plain(tree().words()))
            if planned:
                self.assertEqual("planned" in item, row[3] != "–")

    def test_every_place_of_the_seat_is_drawn(self):
        """Each measured item has its number on the picture, and the picture tells its values."""
        (figure,) = [f for f in tree().all("figure") if f["class"] == "marked"]
        (svg,) = figure.all("svg")
        seat = RESULT["assessment"]["seat"]
        wanted = {str(n) for n, item in enumerate(seat, 1) if item.get("places")}
        self.assertGreaterEqual(len(wanted), 4)
        self.assertEqual(wanted, {t.words() for t in svg.all("text")} - {"20 mm"})
        for number, item in enumerate(seat, 1):
            if "measured" in item:
                value = shown(item["measured"]["value"], item["measured"]["u95"]).lstrip("+\N{MINUS SIGN}")
                self.assertIn(value, plain(svg["aria-label"]))

    def test_every_sign_stands_in_its_row(self):
        signs = RESULT["assessment"]["signs"]
        last = RESULT["assessment"]["headline"]["comparison"]
        (report,) = [r for r in signs["reports"] if r["comparison"] == last]
        (table,) = [t for t in tree().all("table") if t["id"] == "signs-table"]
        rows = [[plain(c.words()) for c in r.children] for r in table.all("tr")[1:]]
        words = {"en": ("yes", "no", "cannot tell"), "de": ("ja", "nein", "nicht zu entscheiden")}[LANGUAGE]
        answers = dict(zip(("yes", "no", "cannot_tell"), words))
        self.assertEqual(len(report["signs"]), len(rows))
        order = ("yes", "no", "cannot_tell")  # what is present first
        (section,) = [s for s in tree().all("section") if s["id"] == "signs"]
        listed = dict(plain(li.words()).split(" ", 1) for li in section.all("li") if li.words().startswith("["))
        for sign, row in zip(sorted(report["signs"], key=lambda s: order.index(s["answer"])), rows):
            self.assertEqual(answers[sign["answer"]], row[1].rstrip(" †"))
            self.assertEqual(sign["basis"] == "lines", row[1].endswith("†"))  # not validated, and marked so
            self.assertTrue(listed[row[4]].startswith(plain(citation_of(sign))))
            if LANGUAGE == "en":
                self.assertEqual([plain(sign["title"]), plain(sign["text"])], [row[0], row[3]])

    def test_provenance(self):
        words = tree().words()
        for film in RESULT["films"]:
            self.assertIn(film["sha256"], words)
        self.assertIn(RESULT["tool"]["options_sha256"], words)
        self.assertIn(RESULT["tool"]["version"], words)
        self.assertIn(RESULT["assessment"]["criteria_set"], words)
        self.assertIn(RESULT["assessment"]["criteria_sha256"], words)

    def test_doubt_stands_beside_every_zone(self):
        (table,) = [t for t in tree().all("table") if t["id"] == "zones-table"]
        told = 0
        for row in table.all("tr")[1:]:
            for cell in row.children[1:]:
                open_ = "open" in cell["class"].split()
                self.assertEqual(not open_, cell.words().endswith("†"), cell.words())
                told += not open_
        self.assertGreater(told, 0)
        (section,) = [s for s in tree().all("section") if s["id"] == "zones"]
        self.assertIn("doubt", [p["class"] for p in section.all("p")])


@unittest.skipIf(LANGUAGE == "en", "results speak English")
class Translated(unittest.TestCase):
    """On a page in another language nothing of a common result is left in English."""

    def test_nothing_is_left_in_english(self):
        sections = tree().all("section")
        self.assertIn("signs", [s["id"] for s in sections])
        left = [n.words() for s in sections for n in s.walk() if n["lang"] == "en"]
        self.assertEqual([], left)
        for section in sections:
            for word in (" the ", " is ", " of the ", " not "):
                self.assertNotIn(word, plain(section.words()))

    def test_headline_has_the_numbers_of_the_english_one(self):
        """Values with their intervals, and the ids of criteria."""
        sentence = RESULT["assessment"]["headline"]["sentence"]
        wanted = re.findall(r"[+-]\d+[.]\d+ ± \d+[.]\d+", sentence)
        self.assertGreaterEqual(len(wanted), 2)
        (head,) = [s for s in tree().all("section") if (s["class"] or "").startswith("headline")]
        (told,) = [plain(p.words()) for p in head.all("p") if p["class"] == "sentence"]
        for one in wanted:
            self.assertIn(one.replace("-", "\N{MINUS SIGN}").replace(".", ","), told)

    def test_headline_names_every_criterion_under_its_verdict(self):
        groups = {"exceeds": "über der Grenze von ", "within": "innerhalb der Grenze von ",
                  "cannot_tell": "nicht zu entscheiden gegen "}
        last = RESULT["assessment"]["headline"]["comparison"]
        (head,) = [s for s in tree().all("section") if (s["class"] or "").startswith("headline")]
        words = plain(head.words())
        for verdict, begin in groups.items():
            ids = {f["criterion"] for f in RESULT["assessment"]["findings"]
                   if f["comparison"] == last and f["verdict"] == verdict}
            told = re.search("(?i)" + begin + r"([A-Z0-9, und-]+?)[;.]", words)
            self.assertEqual(ids, set(re.findall(r"[A-Z][A-Z0-9-]+", told.group(1))) if told else set())


class Pdf(unittest.TestCase):
    def run_tool(self, *command):
        return subprocess.run([*command], capture_output=True, text=True, check=True).stdout

    def test_text_holds_every_value(self):
        text = plain(self.run_tool("pdftotext", "-layout", OUT / "report.pdf", "-"))
        for one in values():
            self.assertIn(one, text)
        joined = "".join(text.split())
        for film in RESULT["films"]:
            self.assertIn(film["sha256"], joined)
        self.assertNotIn("[[", text)

    def test_text_holds_the_assessment(self):
        # Without spaces: cells of a table break their text into lines.
        text = "".join(self.run_tool("pdftotext", "-raw", OUT / "report.pdf", "-").split())
        for one in assessed():
            self.assertIn("".join(one.split()), text)

    def test_text_holds_seat_and_signs(self):
        text = "".join(plain(self.run_tool("pdftotext", "-raw", OUT / "report.pdf", "-")).split())
        seat = [item for item in RESULT["assessment"]["seat"] if "measured" in item]
        self.assertGreaterEqual(len(seat), 4)
        for item in seat:
            number = shown(item["measured"]["value"], item["measured"]["u95"])
            self.assertIn("".join(number.lstrip("+\N{MINUS SIGN}").split()), text)
        last = RESULT["assessment"]["headline"]["comparison"]
        (report,) = [r for r in RESULT["assessment"]["signs"]["reports"] if r["comparison"] == last]
        for sign in report["signs"]:
            self.assertIn("".join(citation_of(sign).split()), text)
            if LANGUAGE == "en":
                self.assertIn("".join(sign["text"].split()), text)

    def test_same_headings_as_the_page(self):
        text = plain(self.run_tool("pdftotext", OUT / "report.pdf", "-"))
        at = 0
        for heading in [h for h in tree().all("h2")][1:]:
            at = text.find(heading.words(), at)
            self.assertGreaterEqual(at, 0, heading.words())

    def test_fonts_are_inside(self):
        lines = self.run_tool("pdffonts", OUT / "report.pdf").splitlines()[2:]
        self.assertTrue(lines)
        for line in lines:
            # "... emb sub uni object ID"
            self.assertEqual(["yes", "yes", "yes"], line.split()[-5:-2], line)

    def test_films_are_inside_once_and_as_jpeg(self):
        lines = [l.split() for l in self.run_tool("pdfimages", "-list", OUT / "report.pdf").splitlines()[2:]]
        self.assertEqual({"jpeg"}, {l[8] for l in lines})
        measured = sum(film["status"] == "measured" for film in RESULT["films"])
        self.assertEqual(measured, len({l[10] for l in lines}))

    def test_structure(self):
        text = self.run_tool("pdfinfo", "-struct", OUT / "report.pdf")
        for element in ("H1", "H2", "P", "Table", "TR", "TH", "TD", "Figure", "L", "LI"):
            self.assertRegex(text, r"(?m)^\s*%s\b" % element)

    def test_page_and_date(self):
        text = self.run_tool("pdfinfo", "-isodates", OUT / "report.pdf")
        self.assertIn("A4", text)
        latest = max(film["date"] for film in RESULT["films"])
        self.assertRegex(text, r"CreationDate:\s+" + latest)


if __name__ == "__main__":
    unittest.main()
