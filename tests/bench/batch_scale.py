"""Scale of `tidemark batch`: hips a second with one and two workers, memory, growth of the database, queries.

usage: batch_scale.py TIDEMARK HIPS [--simulated N] [--pitch MM] [--keep DIR]

HIPS hips are made of N simulated ones (default 4, two films each) under other names, so that each is read
and measured anew. Prints a table in Markdown. The figures hold for the load of the machine at that time,
which is printed as well.
"""
import argparse
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
    "one hip": "SELECT * FROM hips JOIN comparisons USING (hip_id) WHERE hip = 'H000007'",
}


def share_of(folder, tidemark, hips, simulated, pitch):
    base = folder / "base"
    subprocess.run([tidemark, "phantom", "--hips", str(simulated), "--follow-ups", "1", "--pixel-pitch",
                    str(pitch), "--out", base], check=True)
    lines = ["hip,head_diameter_mm,surgery_date,group_stem,file,date"]
    import json
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
        time.sleep(0.5)
    seconds = time.monotonic() - start
    after = os.times()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    quarter = max(len(memory) // 4, 1)
    with sqlite3.connect(out / "registry.sqlite") as db:
        hips, peak = db.execute("SELECT count(*), max(peak_kib) FROM attempts").fetchone()
        measured = db.execute("SELECT count(*) FROM hips WHERE status IN ('measured', 'partly')")
        measured = measured.fetchone()[0]
    size = (out / "registry.sqlite").stat().st_size
    return {"jobs": jobs, "hips": hips, "measured": measured, "seconds": seconds, "rate": hips / seconds,
            "cpu": used / hips, "early": max(memory[:quarter]), "late": max(memory[-quarter:]),
            "peak": peak, "size": size}


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("tidemark", type=pathlib.Path)
    parser.add_argument("hips", type=int)
    parser.add_argument("--simulated", type=int, default=4)
    parser.add_argument("--pitch", type=float, default=0.8)
    parser.add_argument("--keep", type=pathlib.Path)
    given = parser.parse_args()
    folder = given.keep or pathlib.Path(tempfile.mkdtemp())
    try:
        sheet = share_of(folder, given.tidemark, given.hips, given.simulated, given.pitch)
        print(f"load before: {os.getloadavg()}, cores: {os.cpu_count()}\n")
        print("| workers | hips | measured | wall s | hips/s | CPU s a hip | batch RSS first quarter, last quarter "
              "MiB | largest worker MiB | database kB a hip |\n|---|---|---|---|---|---|---|---|---|")
        for jobs in (1, 2):
            out = folder / f"out-{jobs}"
            shutil.rmtree(out, ignore_errors=True)
            r = measure(given.tidemark, sheet, out, jobs)
            print(f"| {r['jobs']} | {r['hips']} | {r['measured']} | {r['seconds']:.0f} | {r['rate']:.3f} | "
                  f"{r['cpu']:.2f} | {r['early'] / 1024:.1f}, {r['late'] / 1024:.1f} | "
                  f"{r['peak'] / 1024:.0f} | {r['size'] / 1000 / r['hips']:.1f} |", flush=True)
        print(f"\nload after: {os.getloadavg()}\n")
        start = time.monotonic()
        subprocess.run([given.tidemark, "batch", sheet, "--out", folder / "out-2"],
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        print(f"nothing to do on {given.hips} hips: {time.monotonic() - start:.1f} s")
        with sqlite3.connect(folder / "out-2" / "registry.sqlite") as db:
            for what, sql in QUERIES.items():
                start = time.monotonic()
                db.execute(sql).fetchall()
                print(f"{what}: {1000 * (time.monotonic() - start):.1f} ms")
    finally:
        if not given.keep:
            shutil.rmtree(folder)


main()
