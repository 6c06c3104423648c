"""Texts of the report: every key that a source uses is there in every language, none is left over.

usage: texts.py MODULE
"""
import json
import pathlib
import re
import sys

MODULE = pathlib.Path(sys.argv[1])
LANGUAGES = {path.stem: json.loads(path.read_text()) for path in (MODULE / "text").glob("*.json")}
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


found = sorted(faults())
print("\n".join(found) or f"texts: {len(LANGUAGES)} languages, {len(LANGUAGES['english'])} texts")
assert len(LANGUAGES) >= 2, "a second language is missing"
sys.exit(1 if found else 0)
