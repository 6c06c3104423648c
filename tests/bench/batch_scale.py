"""Scale of `tidemark batch`: hips a second with one and two workers, memory, growth of the database, queries.

usage: batch_scale.py TIDEMARK HIPS [--simulated N] [--pitch MM] [--keep DIR] [--store BENCH_STORE N ...] [--grow K]

HIPS hips are made of N simulated ones (default 4, two films each) under other names, so that each is read
and measured anew. --store: the store alone, with workers that print the recorded answer of one hip, on N hips. --grow:
queries on K times the rows of the last of these, copied by SQL. Prints tables in Markdown. The figures hold for the load of the machine at that time, which is printed as well.
"""
import argparse
import json
import os
import pathlib
import shutil
import sqlite3
import subprocess
import tempfile
import time

QUERIES = {
    "mean subsidence by year": "SELECT days / 365, count(*), avg(subsidence_mm) FROM comparisons "
                               "WHERE status = 'measured' GROUP BY 1",
    "verdicts by criterion": "SELECT criterion, verdict, count(*) FROM findings GROUP BY 1, 2",
    "lines by zone": "SELECT zone, state, count(*) FROM zones GROUP BY 1, 2",
    "one hip": "SELECT * FROM hips JOIN comparisons USING (hip_id) WHERE hip IN ('H000007', 'H1000007')",
}


def share_of(folder, tidemark, hips, simulated, pitch):
    base = folder / "base"
    subprocess.run([tidemark, "phantom", "--hips", str(simulated), "--follow-ups", "1", "--pixel-pitch",
                    str(pitch), "--out", base], check=True)
    lines = ["hip,head_diameter_mm,surgery_date,group_stem,file,date"]
    for i in range(hips):
        source = base / f"hip-{i % simulated + 1:04}"
        sheet = json.loads((source / "series.json").read_text())
        for film in sheet["films"]:
            target = folder / "share" / f"H{i:06}" / film["file"]
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes((source / film["file"]).read_bytes())
            lines.append(f"H{i:06},{sheet['stem']['head_diameter_mm']},{sheet['surgery_date']},"
                         f"{'AB'[i % 2]},share/{target.parent.name}/{target.name},{film['date']}")
    (folder / "sheet.csv").write_text("\n".join(lines) + "\n")
    return folder / "sheet.csv"


def resident_kib(pid):
    try:
        for line in pathlib.Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmRSS"):
                return int(line.split()[1])
    except OSError:
        pass
    return 0


def measure(tidemark, sheet, out, jobs):
    start = time.monotonic()
    before = os.times()
    process = subprocess.Popen([tidemark, "batch", sheet, "--out", out, "--jobs", str(jobs)],
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    memory = []
    while process.poll() is None:
        memory.append(resident_kib(process.pid))
        time.sleep(0.2)
    seconds = time.monotonic() - start
    after = os.times()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    quarter = max(len(memory) // 4, 1)
    with sqlite3.connect(out / "registry.sqlite") as db:
        hips, peak, busy = db.execute("SELECT count(*), max(peak_kib), sum(seconds) FROM attempts").fetchone()
        measured = db.execute("SELECT count(*) FROM hips WHERE status IN ('measured', 'partly')")
        measured = measured.fetchone()[0]
    size = (out / "registry.sqlite").stat().st_size
    return {"jobs": jobs, "hips": hips, "measured": measured, "seconds": seconds, "rate": hips / seconds,
            "cpu": used / hips, "early": max(memory[:quarter]), "late": max(memory[-quarter:]),
            "peak": peak, "size": size, "busy": busy / (jobs * seconds)}


def ask(database):
    with sqlite3.connect(database) as db:
        for what, sql in QUERIES.items():
            start = time.monotonic()
            db.execute(sql).fetchall()
            print(f"{what}: {1000 * (time.monotonic() - start):.1f} ms", flush=True)


def grow(database, times):
    """Copies all hips of a database under other names until there are `times` as many."""
    with sqlite3.connect(database) as db:
        db.execute("PRAGMA synchronous = OFF")
        tables = [t for (t,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        columns = {t: [c[1] for c in db.execute(f"PRAGMA table_info({t})")] for t in tables}
        last, = db.execute("SELECT max(hip_id) FROM hips").fetchone()
        for copy in range(1, times):
            new = {"hip_id": f"hip_id + {copy * last}", "hip": f"hip || '-{copy}'"}
            for table in sorted((t for t in tables if "hip_id" in columns[t]), key=lambda t: t != "hips"):
                db.execute(f"INSERT INTO {table} SELECT {', '.join(new.get(c, c) for c in columns[table])} "
                           f"FROM {table} WHERE hip_id <= {last}")
            db.commit()
    print(f"\n{times} times as many rows: {database.stat().st_size / 1e6:.0f} MB", flush=True)
    ask(database)


def store(folder, tidemark, program, hips, times):
    """The store alone: its rate, growth and memory, and the queries on its rows."""
    task = {"job": {"facts": {"hip": "H", "reader": "", "groups": {}}, "folder": str(folder / "base" / "hip-0001"),
                    "films": [], "set_early_aside": False, "fault": ""},
            "options": {"accept_pixels": False}, "keep_in": ""}
    answer = subprocess.run([tidemark, "batch-worker"], input=json.dumps(task).encode(), capture_output=True,
                            check=True).stdout
    (folder / "answer.json").write_bytes(answer)
    place = folder / f"store-{hips}"
    print(f"\nthe store alone, {hips} hips, load before: {os.getloadavg()}", flush=True)
    before = os.times()
    subprocess.run([program, folder / "answer.json", place, hips, "2"], check=True)
    after = os.times()
    used = sum(after[2:4]) - sum(before[2:4])
    print(f"{1000 * used / int(hips):.2f} ms of processor a hip, its worker's start and end included")
    ask(place / "out" / "registry.sqlite")
    start = time.monotonic()
    subprocess.run([tidemark, "export", place / "out" / "registry.sqlite", "--out", place / "tables"], check=True,
                   stdout=subprocess.DEVNULL)
    print(f"export: {time.monotonic() - start:.1f} s")
    if times > 1:
        grow(place / "out" / "registry.sqlite", times)
    shutil.rmtree(place)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("tidemark", type=pathlib.Path)
    parser.add_argument("hips", type=int)
    parser.add_argument("--simulated", type=int, default=4)
    parser.add_argument("--pitch", type=float, default=0.8)
    parser.add_argument("--keep", type=pathlib.Path)
    parser.add_argument("--store", nargs="+", metavar="BENCH_STORE N")
    parser.add_argument("--grow", type=int, default=1, metavar="K")
    given = parser.parse_args()
    folder = given.keep or pathlib.Path(tempfile.mkdtemp())
    try:
        sheet = share_of(folder, given.tidemark, given.hips, given.simulated, given.pitch)
        print(f"load before: {os.getloadavg()}, cores: {os.cpu_count()}\n")
        print("| workers | hips | measured | wall s | hips/s | workers busy | CPU s a hip | batch RSS first quarter, last quarter "
              "MiB | largest worker MiB | database kB a hip |\n|" + "---|" * 10)
        rates = []
        for jobs in (1, 2):
            out = folder / f"out-{jobs}"
            shutil.rmtree(out, ignore_errors=True)
            r = measure(given.tidemark, sheet, out, jobs)
            print(f"| {r['jobs']} | {r['hips']} | {r['measured']} | {r['seconds']:.0f} | {r['rate']:.3f} | "
                  f"{r['busy']:.1%} | "
                  f"{r['cpu']:.2f} | {r['early'] / 1024:.1f}, {r['late'] / 1024:.1f} | "
                  f"{r['peak'] / 1024:.0f} | {r['size'] / 1000 / r['hips']:.1f} |", flush=True)
            rates.append(r["rate"])
        print(f"\ntwo workers do {rates[1] / rates[0] / 2:.1%} of twice what one does")
        print(f"\nload after: {os.getloadavg()}\n")
        start = time.monotonic()
        subprocess.run([given.tidemark, "batch", sheet, "--out", folder / "out-2"],
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        print(f"nothing to do on {given.hips} hips: {time.monotonic() - start:.1f} s")
        ask(folder / "out-2" / "registry.sqlite")
        for count in (given.store or [None])[1:]:
            store(folder, given.tidemark, given.store[0], count, given.grow if count == given.store[-1] else 1)
    finally:
        if not given.keep:
            shutil.rmtree(folder)


main()
