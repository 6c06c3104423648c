"""Texts of the report: every key that a source uses is there in every language, none is left over.

And text/said.json: every flag that a source can raise is told in both languages, every sentence for a film or pair
that is refused is known, so is every note of a set of criteria, every text of the decision tables of signs and every
piece of a sentence of their reader, and no English pattern is left that no source says.

usage: texts.py MODULE
"""
import json
import pathlib
import re
import sys

MODULE = pathlib.Path(sys.argv[1])
DOUBLES = []


def keys_once(pairs):
    keys = [key for key, _ in pairs]
    DOUBLES.extend(sorted({key for key in keys if keys.count(key) > 1}))
    return dict(pairs)


LANGUAGES = {path.stem: json.loads(path.read_text(), object_pairs_hook=keys_once)
             for path in (MODULE / "text").glob("*.json")}
SAID = LANGUAGES.pop("said")
# What steps can refuse a film or a pair with. Left out: what only a caller's mistake can raise, and what a damaged
# file is told by another library; both stay English.
STEPS = [path for module in ("film", "anatomy", "surface", "migration", "lucency", "followup", "assessment", "registry")
         for path in sorted((MODULE.parent / module / "src").glob("*.*"))]
REFUSALS = [path for path in STEPS if path.parent.parent.name in ("anatomy", "migration")
            or path.name in ("settle.cpp", "scale.cpp", "doubt.cpp", "pair.cpp", "read.cpp", "dicom.cpp")]
NOT_TOLD = {"an alignment of the two films is no number", "check both films", "cannot be read (", "the votes of the bone are no numbers",
            "an impossible header (pixels more than four times as long as wide)", "pixels that are not whole numbers",
            "save it as a 16-bit greyscale picture", "free some memory or give a smaller film",
            "the scale is not a positive number", "give the head's diameter", "give a scale"}
TABLES = [json.loads(path.read_text()) for path in sorted((MODULE.parent / "assessment/signs").glob("*.json"))]
NOTES = {path.name: json.loads(path.read_text())["note"]
         for path in sorted((MODULE.parent / "assessment/criteria").glob("*.json"))}
# Says why a film is refused whose field cuts the stem.
IMPLANT = MODULE.parent / "anatomy/include/tidemark/anatomy/implant.h"
SEAT = MODULE.parent / "assessment/src/seat.cpp"
LUCENCY = MODULE.parent.parent / "docs/lucency.md"
READERS = [MODULE.parent / "assessment/src" / name for name in ("signs.cpp", "facts.cpp", "facts_lines.cpp")]
LITERAL = re.compile(r'"((?:[^"\\\n]|\\.)*)"')


def literals():
    for path in (MODULE / "src").glob("*.cpp"):
        yield from LITERAL.findall(path.read_text())


def faults():
    english = LANGUAGES["english"]
    for name, texts in LANGUAGES.items():
        yield from (f"{name}: lacks {key}" for key in english.keys() - texts.keys())
        yield from (f"{name}: {key} is in no English text" for key in texts.keys() - english.keys()
                    if not key.startswith("flag."))
        for key in texts.keys() & english.keys():
            wanted, found = (sorted(re.findall(r"\{\w+\}", t[key])) for t in (english, texts))
            if wanted != found:
                yield f"{name}: {key} has {found}, English has {wanted}"
            if not texts[key].strip():
                yield f"{name}: {key} is empty"
    groups = {key.split(".")[0] for key in english}
    used = {text for text in literals() if text.split(".")[0] in groups}
    for text in used:
        if text.endswith(".") and not text == "flag." and not any(k.startswith(text) for k in english):
            yield f"no text begins with {text}"
        if re.fullmatch(r"[a-z_]+\.[a-z_.]*[a-z_]", text) and text not in english:
            yield f"no text {text}"
    beginnings = tuple(text for text in used if text.endswith("."))
    for key in english:
        if key not in used and not key.startswith(beginnings):
            yield f"nothing uses {key}"


def joined_literals(text):
    """Texts of a source, adjacent literals joined as the compiler does."""
    return [one.replace('\\"', '"') for one in LITERAL.findall(re.sub(r'"[ \t]*\n\s*"', "", text))]


def is_said(fragment, literals):
    """Whether a text can be put together from the sources' texts and pieces of them."""
    reached = {0}
    for at in range(len(fragment)):
        if at not in reached:
            continue
        for one in literals:
            if fragment.startswith(one, at):
                reached.add(at + len(one))
            # The last piece, or the first, may go on in the source.
            if at == 0 and any(fragment.startswith(one[-n:]) for n in (8, 16, 24) if len(one) > n):
                reached.update(n for n in range(1, len(one)) if fragment.startswith(one[-n:]))
            if one.startswith(fragment[at:]) or (at == 0 and fragment in one):
                reached.add(len(fragment))
    return len(fragment) in reached


def patterns():
    for name, sentences in SAID["flags"].items():
        yield from ((f"flag {name}", one) for one in sentences)
    yield from (("clause", one) for one in SAID["clauses"])


def reasons_in(node):
    """What the rules of a decision table give as the reason why something stays open."""
    children = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    if isinstance(node, dict):
        yield from (node[key] for key in ("cannot_show", "not_looked_for") if key in node)
    for child in children:
        yield from reasons_in(child)


def texts_of(table):
    """Every text of a decision table that the report can print, but what a sum of points means."""
    for sign in table["signs"]:
        yield from (sign["title"], sign["present"]["says"], sign["absent"]["says"])
        if not re.search(r"\(\d{4}\)", sign["citation"]):
            yield sign["citation"]  # describes a source and names none
    for one in table["explanations"]:
        yield from (one["title"], one["next"])
    yield from (choice["text"] for one in table["switches"] for choice in one["choices"])
    yield from reasons_in(table)
    yield table["note"]


def readings_of(table):
    return [reading["says"] for reading in table.get("score", {}).get("readings", [])]


def faults_of_tables():
    whole = {one["en"] for one in SAID["clauses"]}
    yield from (f"said: {name} says \"{note}\", which is not translated"
                for name, note in NOTES.items() if note not in whole)
    for table in TABLES:
        texts = set(texts_of(table))
        assert len(texts) > 50, "the texts of the decision tables were not found"
        yield from (f"said: {table['id']} says \"{text}\", which is not translated" for text in texts - whole)
        yield from (f"said: {table['id']} says \"{text}\" of a sum, which is not translated"
                    for text in readings_of(table) if not any(one.startswith(f"{{1}} points: {text} (") for one in whole))
    for path in READERS:
        source = re.sub(r"(?m)//.*$|^#.*$|^constexpr Words.*$", "", path.read_text())
        pieces = {text for text in joined_literals(source) if re.search("[a-z]{2}", text)}
        assert len(pieces) > 5, f"the sentences of {path.name} were not found"
        for text in pieces - {" mm"}:
            known = text.strip() == "degrees" or any(text.strip(" ;") in one for one in whole)
            if not known:
                yield f"said: {path.name} can say \"{text}\", which is not translated"


def faults_of_seat():
    """Sentences of the audit of the seat, and what stands in them."""
    told = [one["en"] for one in SAID["clauses"]]
    source = re.sub(r"(?m)//.*$|^#.*$", "", SEAT.read_text())
    sentences = [text.strip(" .") for text in joined_literals(source) if re.search("[a-z]{2} [a-z]", text)]
    assert len(sentences) > 15, "the sentences of the seat were not found"
    yield from (f"said: {SEAT.name} can say \"{text}\", which is not translated"
                for text in sentences if not any(text in one for one in told))


def faults_of_doubt():
    """What is said of lines is what was measured on the fresh films of the other simulator (docs/lucency.md)."""
    rows = [[cell.strip() for cell in line.split("|")[1:4]] for line in LUCENCY.read_text().splitlines()
            if re.match(r"\| \**other simulator, seed \d+, fresh", line)]
    assert len(rows) == 5, rows
    told = [sum(int(row[column].split(",")[i]) for row in rows) for column in (1, 2) for i in range(3)]
    clear, free = sum(told[:3]), sum(told[3:])
    wanted = sorted([clear, *told[:3], free, *told[3:]])
    for name, texts in LANGUAGES.items():
        found = sorted(map(int, re.findall(r"\d+", texts["zones.doubt"])))
        if found != wanted:
            yield f"{name}: zones.doubt tells {found}, docs/lucency.md {wanted}"


def raised_flags():
    """Every flag that a source raises, by its text or by the name of the constant that holds it."""
    headers = [path.read_text() for path in MODULE.parent.glob("*/include/tidemark/*/*.h")]
    named = {key: text for header in headers for key, text in
             re.findall(r'constexpr const char\* (k\w+) = "([a-z_]+)";', header)}
    for path in STEPS:
        for text, key in re.findall(r'flags\.push_back\(\s*(?:Flag)?\{\s*(?:"([a-z_]+)"|(k\w+))', path.read_text()):
            yield text or named[key]


def faults_of_said():
    raised = set(raised_flags())
    assert len(raised) >= 30, "the flags of the sources were not found"
    yield from (f"said: flag {name} has no text" for name in raised - SAID["flags"].keys())
    yield from (f"said: no source raises flag {name}" for name in SAID["flags"].keys() - raised)
    # Short ones only where they join words.
    literals = {one for path in (*STEPS, IMPLANT) for one in joined_literals(path.read_text())
                if len(one) > 3 or len(one) > 1 and " " in one}
    literals |= {text for table in TABLES for text in (*texts_of(table), *readings_of(table))}
    literals |= {one for path in (MODULE.parent / "assessment/criteria").glob("*.json")
                 for one in joined_literals(path.read_text()) if len(one) > 3}
    for where, one in patterns():
        places = [sorted(re.findall(r"\{\d\}", one[language])) for language in ("en", "de")]
        if one["en"] and places[0] != places[1]:
            yield f"said: {where}: {one['en']} and {one['de']} differ in their places"
        if not one["de"]:
            yield f"said: {where}: {one['en']} has no German"
        for fragment in re.split(r"\{\d\}", one["en"]):
            if len(fragment.strip()) > 3 and not is_said(fragment, literals):
                yield f"said: no source says \"{fragment}\""
    told = [fragment for _, one in patterns() for fragment in re.split(r"\{\d\}", one["en"])]
    for path in REFUSALS:
        for call in re.findall(r"\b(?:fail|refuse|no_stem)\((.*?)\);", path.read_text(), re.S):
            for text in joined_literals(call):
                known = any(text.strip(" ;,.") in one or one.strip(" ;,.") and one in text for one in told)
                if len(text) > 12 and text not in NOT_TOLD and not known:
                    yield f"said: {path.name} can say \"{text}\", which is not translated"


found = sorted([*(f"{key} stands twice" for key in DOUBLES), *faults(), *faults_of_said(), *faults_of_tables(),
                *faults_of_seat(), *faults_of_doubt()])
print("\n".join(found) or f"texts: {len(LANGUAGES)} languages, {len(LANGUAGES['english'])} texts, "
                            f"{len(SAID['flags'])} flags, {len(SAID['clauses'])} sentences")
assert len(LANGUAGES) >= 2, "a second language is missing"
sys.exit(1 if found else 0)
