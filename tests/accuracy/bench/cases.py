"""Where cases come from, and what of them the program may see."""
import hashlib
import json
import os
import pathlib
import shutil
import subprocess
import sys

HERE = pathlib.Path(__file__).resolve().parent.parent
ROOT = HERE.parent.parent
#: Keys of the sheet the program may see beside the head's diameter: nothing measured by hand.
FILM_KEYS = ("file", "role", "date", "view", "exclude")
LATERAL = "LAT"  # view of a film from the side, in sheet and truth
#: The stem's surface beside the films of a made case.
STEM_FILE = "stem.stl"
SETS = ("phantom-seat", "phantom-still", "phantom-hard", "phantom-lucency", "phantom-lysis",
        "other-seat", "other-still", "other-hard", "other-lucency")


#: What a set is made to show; decides which targets it has.
KINDS = ("seat", "still", "hard", "lucency", "lysis")


class Failure(Exception):
    """One sentence for the user."""


def folders_with_truth(folder):
    """The cases of a folder: itself, or those of its direct subfolders that hold a truth.json."""
    folder = pathlib.Path(folder)
    if (folder / "truth.json").is_file():
        return [folder]
    found = sorted(p.parent for p in folder.glob("*/truth.json"))
    if not found:
        raise Failure(f"{folder}: no truth.json in it or in its subfolders; "
                      "docs/truth.md says how a case looks")
    return found


def cache_of(name, options):
    """Folder of a made set; its name holds what it was made from."""
    label = f"{name}-{options.hips}x{options.follow_ups}-seed{options.seed}"
    if options.lateral:
        label += "-lateral" if options.lateral == 1 else f"-lateral{options.lateral}"
    if options.pixel_pitch:
        label += f"-pitch{options.pixel_pitch}"
    return options.out / "cases" / label


def make_command(name, folder, options):
    simulator, kind = name.split("-")
    if simulator == "phantom":
        command = [str(options.tidemark), "phantom", "--out", folder, "--set", kind, "--hips",
                   options.hips, "--follow-ups", options.follow_ups, "--seed", options.seed,
                   "--threads", options.jobs, "--stem-surface"]
        if options.lateral:
            command += ["--lateral", options.lateral]
        if options.pixel_pitch:
            command += ["--pixel-pitch", options.pixel_pitch]
        return command
    if not options.meshes:
        raise Failure(f"{name}: the other simulator needs bone surfaces; give --meshes DIR "
                      "(tests/accuracy/other_simulator/README.md)")
    lateral = ["--lateral", options.lateral] if options.lateral else []
    return [sys.executable, HERE / "other_simulator" / "make_cases.py", "--meshes",
            options.meshes, "--out", folder, "--cases", options.hips, "--followups",
            options.follow_ups, "--seed", options.seed, "--set", kind, "--jobs", options.jobs,
            "--stem-surface", *lateral]


#: What the films of each simulator follow from, beside the arguments. (Of the phantom not what it
#: takes from modules/core: arithmetic.)
SOURCES = {"phantom": ("modules/phantom/**/*.h", "modules/phantom/**/*.cpp",
                       "apps/tidemark/phantom.cpp"),
           "other": ("tests/accuracy/other_simulator/*.py",)}
NOT_SOURCES = ("test_other_simulator.py", "preview.py")


def digest_of_sources(simulator, root=ROOT):
    """Of names and contents."""
    found = sorted(p for pattern in SOURCES[simulator] for p in pathlib.Path(root).glob(pattern)
                   if p.name not in NOT_SOURCES)
    digest = hashlib.sha256()
    for path in found:
        digest.update(f"{path.relative_to(root)}\0{path.stat().st_size}\0".encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def digest_of_meshes(folder):
    """Of names and sizes: the files are large."""
    folder = pathlib.Path(folder)
    lines = sorted(f"{p.relative_to(folder)} {p.stat().st_size}" for p in folder.rglob("*")
                   if p.is_file())
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def made_from(name, options):
    """What a set follows from beside its arguments, a line each. Without --meshes a kept set's are
    taken on trust."""
    simulator = name.split("-")[0]
    lines = [f"sources {digest_of_sources(simulator)}"]
    if simulator == "other" and options.meshes:
        lines.append(f"meshes {digest_of_meshes(options.meshes)}")
    return lines


def is_kept(ready, lines):
    """Whether a set is there, complete and made from just this."""
    return ready.is_file() and set(lines) <= set(ready.read_text().splitlines())


def made(name, options):
    """Folder of a set, made if it is not there yet, with --anew, or if its simulator has changed. A
    broken-off set is made anew."""
    folder = cache_of(name, options)
    ready = folder / "complete"
    lines = made_from(name, options)
    if options.anew or not is_kept(ready, lines):
        command = [str(word) for word in make_command(name, folder, options)]
        print(f"making {name} in {folder}", file=sys.stderr, flush=True)
        if folder.exists():
            shutil.rmtree(folder)
        folder.mkdir(parents=True)
        done = subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
        if done.returncode != 0:
            raise Failure(f"{name}: {pathlib.Path(command[0]).name} ended with "
                          f"{done.returncode}; its message stands above")
        ready.write_text("\n".join([" ".join(command), *lines]) + "\n")
    return folder


def name_of_set(folder):
    folder = pathlib.Path(folder).resolve()
    return f"{folder.parent.name}/{folder.name}"


def kind_of(name):
    """The kind in the name of a set: a word between '-', the last folder's first; None without one.
    "phantom-still-24x2-seed2024/hip-0003" is still, "orchard/hip-0003" is of no kind."""
    for part in reversed(str(name).split("/")):
        for word in part.split("-"):
            if word in KINDS:
                return word
    return None


def sheet_of(case, truth):
    """The sheet the program gets: side, dates, roles, cement or none. Scale, landmarks, markers,
    plan and the stem's size are taken out; the head's diameter comes by option."""
    path = case / "series.json"
    if path.is_file():
        given = json.loads(path.read_text())
    else:
        references = {c["reference"] for c in truth["comparisons"]}
        given = {"films": [{"file": f["file"], "role": "reference" if i in references else
                            "follow-up"} for i, f in enumerate(truth["films"])]}
    sheet = {key: given[key] for key in ("hip", "surgery_date") if key in given}
    sheet["side"] = truth["side"]
    if "lucency" in truth["films"][0]:
        sheet["stem"] = {"fixation": truth["films"][0]["lucency"]["fixation"]}
    wanted = {film["file"] for film in truth["films"]}
    sheet["films"] = [{key: film[key] for key in FILM_KEYS if key in film}
                      for film in given["films"] if film["file"] in wanted]
    return sheet


def prepare_input(case, truth, folder, surface=False, lateral=0):
    """Folder with the films (as links) and the bare sheet, with `surface` also the stem's surface;
    lateral films only with `lateral`, which says how many the case must hold at least.
    The truth is not in it."""
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    sheet = sheet_of(case, truth)
    if surface:
        if not (case / STEM_FILE).is_file():
            raise Failure(f"{case}: no {STEM_FILE} beside the films; make the case anew with "
                          "--stem-surface, or leave --surface away")
        sheet["stem"] = sheet.get("stem", {}) | {"surface": STEM_FILE}
        os.symlink((case / STEM_FILE).resolve(), folder / STEM_FILE)
    from_side = [film for film in sheet["films"] if film.get("view") == LATERAL]
    if not lateral:
        sheet["films"] = [film for film in sheet["films"] if film not in from_side]
    elif len(from_side) < lateral:
        raise Failure(f"{case}: {len(from_side) or 'no'} lateral film; make the case anew with "
                      "--lateral, or leave it away")
    for film in sheet["films"]:
        os.symlink((case / film["file"]).resolve(), folder / film["file"])
    (folder / "series.json").write_text(json.dumps(sheet, indent=1))
    return folder
