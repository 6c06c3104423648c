"""Runs the program on a case as a user would, and reads what it cost."""
import json
import os
import shutil
import subprocess
import time


def run(command):
    """-> (exit code, standard error, wall s, processor s, peak resident MB (10^6 bytes)) of one process."""
    start = time.monotonic()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    message = process.stderr.read().decode(errors="replace")
    process.stderr.close()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    wall = time.monotonic() - start
    cpu = usage.ru_utime + usage.ru_stime
    return process.returncode, message, wall, cpu, usage.ru_maxrss * 1024e-6


def command_of(tidemark, films, out, head_diameter, threads, pictures):
    words = [str(tidemark), "measure", str(films), "--out", str(out), "--head-diameter",
             str(head_diameter), "--threads", str(threads)]
    return words if pictures else words + ["--no-pictures"]


def measure(tidemark, films, out, head_diameter, threads=1, pictures=False):
    """One run. -> {code, message, wall_s, cpu_s, peak_mb, result (None if there is none)}"""
    if out.exists():
        shutil.rmtree(out)
    out.parent.mkdir(parents=True, exist_ok=True)
    words = command_of(tidemark, films, out, head_diameter, threads, pictures)
    code, message, wall, cpu, peak = run(words)
    path = out / "result.json"
    result = json.loads(path.read_text()) if path.is_file() else None
    return {"code": code, "message": message.strip(), "wall_s": wall, "cpu_s": cpu,
            "peak_mb": peak, "result": result}
