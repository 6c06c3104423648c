"""Batches on a real Slurm of one node and under Snakemake.

usage: cluster_cases.py TIDEMARK FILMS SCRIPTS [unittest arguments]

Exits with 77 (skipped) where Slurm or Snakemake is not installed, or Slurm does not come up.
"""
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time
import unittest

HERE = pathlib.Path(__file__).resolve().parent
TIDEMARK, FILMS, SCRIPTS = (pathlib.Path(word).resolve() for word in sys.argv[1:4])
WHAT = sys.argv[4] if len(sys.argv) > 4 else ""
sys.argv[1:4] = [str(TIDEMARK), str(FILMS)]
del sys.argv[3:]
import batch_cases  # noqa: E402  takes its own two arguments

if WHAT:
    sys.argv.append(WHAT)
NEEDED = {"Slurm": ["munged", "slurmctld", "slurmd", "sbatch", "scontrol"],
          "Snakemake": ["snakemake"]}
PATH = "/usr/sbin:/usr/bin:/sbin:/bin"  # Debian's snakemake wants Debian's python


def skip(why):
    print(f"skipped: {why}")
    sys.exit(77)


class Base(batch_cases.Case):
    def setUp(self):
        super().setUp()
        self.hips(6, ("hip-0001",))
        self.whole = self.folder / "whole"
        self.run_batch(out=self.whole)
        self.expected = self.export(self.whole)

    def merge(self, count):
        parts = [self.out / f"part-{i}" / "registry.sqlite" for i in range(1, count + 1)]
        merged = self.folder / "merged.sqlite"
        subprocess.run([TIDEMARK, "merge", *parts, "--out", merged], check=True,
                       capture_output=True)
        return merged


class Slurm(Base):
    def setUp(self):
        super().setUp()
        self.node = pathlib.Path(tempfile.mkdtemp(prefix="slurm"))
        up = subprocess.run([HERE / "slurm_node.sh", "up", self.node], capture_output=True, text=True)
        self.addCleanup(shutil.rmtree, self.node, ignore_errors=True)
        self.addCleanup(subprocess.run, [HERE / "slurm_node.sh", "down", self.node])
        if up.returncode:
            self.skipTest("Slurm did not come up: " + up.stderr.strip())
        self.environment = {**os.environ, "SLURM_CONF": str(self.node / "slurm.conf"),
                            "TIDEMARK": str(TIDEMARK)}

    def sbatch(self, *more):
        return subprocess.run(["sbatch", "--parsable", "--mem=1G", *more,
                               SCRIPTS / "cluster" / "slurm_array.sh", self.input, self.out],
                              cwd=self.folder, env=self.environment, capture_output=True, text=True)

    def test_array(self):
        done = self.sbatch("--array=1-7", "--wait")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(self.export(self.merge(7)), self.expected)

    def test_requeued_task(self):
        database = self.out / "part-1" / "registry.sqlite"
        stopped = self.folder / "stopped"
        self.environment["TIDEMARK"] = str(self.stopping_program(database, stopped))
        submitted = self.sbatch("--array=1-1")
        self.assertEqual(submitted.returncode, 0, submitted.stderr)
        job = submitted.stdout.strip()
        self.wait_for(stopped.exists, "the first start got nowhere")
        done_then = self.count(database)
        self.assertTrue(0 < done_then < 7, f"{done_then} of 7 hips were done")
        self.slurm("scontrol", "requeue", job, check=True)
        # A start within the second of the kill is refused by the node ("already killed") and lost.
        self.wait_for(lambda: "idle" in self.slurm("sinfo", "-h", "-o", "%T").stdout,
                      "the requeued task did not die")
        time.sleep(5)
        self.wait_for(lambda: self.started_again(job, database), "the task did not start again")
        self.wait_for(lambda: not self.queued(job), "the task did not end")
        self.assertEqual(self.count(database), 7)
        self.assertEqual(self.ask("PRAGMA integrity_check", database.parent), [("ok",)])
        self.assertEqual(self.ask("SELECT count(*) FROM runs", database.parent), [(2,)])
        self.assertEqual(self.ask("SELECT hip FROM attempts GROUP BY hip HAVING count(*) > 1",
                                  database.parent), [])
        self.assertEqual(self.export(self.merge(1)), self.expected)

    def stopping_program(self, database, stopped):
        """A program that stops in the middle of its first run, whatever the machine's pace."""
        path = self.folder / "stopping"
        path.write_text(f"""#!/usr/bin/python3
import os, pathlib, signal, sqlite3, subprocess, sys, time
stopped = pathlib.Path({str(stopped)!r})
command = [{str(TIDEMARK)!r}, *sys.argv[1:]]
if stopped.exists():
    os.execv(command[0], command)
batch = subprocess.Popen(command)
def hips():
    try:
        return sqlite3.connect({str(database)!r}).execute("SELECT count(*) FROM hips").fetchone()[0]
    except sqlite3.Error:  # not made yet
        return 0
while batch.poll() is None and hips() == 0:
    time.sleep(0.01)
batch.send_signal(signal.SIGSTOP)
stopped.touch()
sys.exit(batch.wait())
""")
        path.chmod(0o755)
        return path

    def started_again(self, job, database):
        """Brings the start forward: a requeued job would wait for two minutes."""
        if self.ask("SELECT count(*) FROM runs", database.parent) == [(2,)]:
            return True
        self.slurm("scontrol", "release", job)
        self.slurm("scontrol", "update", f"jobid={job}", "StartTime=now")
        return False

    def queued(self, job):
        return self.slurm("squeue", "-h", "-j", job, "-o", "%T").stdout.strip()

    def slurm(self, *command, **more):
        return subprocess.run(command, env=self.environment, capture_output=True, text=True, **more)

    def wait_for(self, done, otherwise):
        deadline = time.monotonic() + 600
        while not done():
            if time.monotonic() > deadline:
                log = (self.node / "slurmctld.log").read_text(errors="replace")
                states = self.slurm("sinfo", "-R").stdout + self.slurm("scontrol", "show", "job").stdout
                self.fail(f"{otherwise}\n{states}\n{log[-3000:]}")
            time.sleep(0.2)

    def count(self, database):
        try:
            return self.ask("SELECT count(*) FROM hips", database.parent)[0][0]
        except Exception:  # not made yet
            return 0


class Snakemake(Base):
    def snakemake(self, *more, **environment):
        return subprocess.run(
            ["snakemake", "-s", SCRIPTS / "cluster" / "Snakefile", *more, "--config",
             f"input={self.input}", f"out={self.out}", "parts=2", f"tidemark={TIDEMARK}"],
            cwd=self.folder, env={**os.environ, "PATH": PATH, "HOME": str(self.folder),
                                  **environment}, capture_output=True, text=True)

    def test_one_machine(self):
        done = self.snakemake("--cores", "2")
        self.assertEqual(done.returncode, 0, done.stderr)
        tables = {p.name: p.read_bytes() for p in (self.out / "tables").iterdir()}
        self.assertEqual(tables, self.expected)

    def test_a_registry_that_grows(self):
        """The same command again takes in what has come since, and leaves what was there as it was."""
        self.assertEqual(self.snakemake("--cores", "2").returncode, 0)
        batch_cases.blank(self.input / "new" / "0.dcm", "N1", number=70)
        done = self.snakemake("--cores", "2")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.run_batch(out=self.whole)
        tables = {p.name: p.read_bytes() for p in (self.out / "tables").iterdir()}
        self.assertEqual(tables, self.export(self.whole))
        self.assertNotEqual(tables["hips.csv"], self.expected["hips.csv"])

    def test_hips_of_another_batch_stay(self):
        """A registry into which another hospital was merged is not replaced by one without its hips."""
        self.assertEqual(self.snakemake("--cores", "2").returncode, 0)
        other, foreign = self.folder / "other", self.folder / "foreign"
        for visit, date in enumerate(("20240301", "20240501")):
            batch_cases.blank(other / "F1" / f"{visit}.dcm", "F1", "R", date, 90 + visit)
        key = self.folder / "key"
        key.write_text("ab" * 32)
        key.chmod(0o600)
        self.run_batch("--pseudonym-key", key, source=other, out=foreign)  # names of its own
        parts = [self.out / f"part-{i}" / "registry.sqlite" for i in (1, 2)]
        subprocess.run([TIDEMARK, "merge", foreign / "registry.sqlite", *parts, "--out",
                        self.out / "registry.sqlite"], check=True, capture_output=True)
        before = self.ask("SELECT hip FROM hips ORDER BY hip")
        self.assertEqual(len(before), 8)
        done = self.snakemake("--cores", "2")
        self.assertNotEqual(done.returncode, 0)
        self.assertIn("registry.sqlite", done.stderr)
        self.assertEqual(self.ask("SELECT hip FROM hips ORDER BY hip"), before)



class Profile(Slurm, Snakemake):
    def test_array(self):
        self.skipTest("see Slurm")

    test_requeued_task = test_one_machine = test_a_registry_that_grows = test_array
    test_hips_of_another_batch_stay = test_array

    def test_profile(self):
        done = self.snakemake("--profile", str(SCRIPTS / "cluster" / "slurm"), "--latency-wait", "5",
                              **{k: self.environment[k] for k in ("SLURM_CONF", "TIDEMARK")})
        self.assertEqual(done.returncode, 0, done.stderr)
        tables = {p.name: p.read_bytes() for p in (self.out / "tables").iterdir()}
        self.assertEqual(tables, self.expected)


if __name__ == "__main__":
    kinds = {"Profile": ["Slurm", "Snakemake"]}.get(WHAT.split(".")[0], [WHAT.split(".")[0]])
    for kind in kinds:
        for program in NEEDED.get(kind, []):
            if not shutil.which(program, path=PATH):
                skip(f"{program} is not installed")
        if kind == "Slurm" and os.geteuid() != 0:
            skip("a Slurm of one's own needs root")
    program = unittest.main(exit=False)
    result = program.result
    if result.wasSuccessful() and result.testsRun > 0 and len(result.skipped) == result.testsRun:
        skip(result.skipped[0][1])
    sys.exit(0 if result.wasSuccessful() else 1)
