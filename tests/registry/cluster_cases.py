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
        job = self.sbatch("--array=1-1").stdout.strip()
        database = self.out / "part-1" / "registry.sqlite"
        deadline = time.monotonic() + 300
        while time.monotonic() < deadline:  # in the middle: some hips are done, not all
            if database.exists() and 0 < self.count(database) < 7:
                break
            time.sleep(0.01)
        subprocess.run(["scontrol", "requeue", job], env=self.environment, check=True)
        done_then = self.count(database)
        subprocess.run(["scontrol", "release", job], env=self.environment, capture_output=True)
        while time.monotonic() < deadline:
            state = subprocess.run(["squeue", "-h", "-j", job, "-o", "%T"], env=self.environment,
                                   capture_output=True, text=True).stdout.strip()
            if not state and self.count(database) == 7:
                break
            # A requeued job waits for two minutes unless its start is brought forward.
            subprocess.run(["scontrol", "update", f"jobid={job}", "StartTime=now"],
                           env=self.environment, capture_output=True)
            time.sleep(0.2)
        self.assertLess(done_then, 7, "it was requeued too late to be of use")
        self.assertEqual(self.ask("PRAGMA integrity_check", database.parent), [("ok",)])
        runs = self.ask("SELECT count(*) FROM runs", database.parent)[0][0]
        if runs < 2:  # seen on a busy machine; what is tested here needs the second start
            self.skipTest("Slurm did not start the requeued task again in time")
        self.assertEqual(runs, 2)
        self.assertEqual(self.ask("SELECT hip FROM attempts GROUP BY hip HAVING count(*) > 1",
                                  database.parent), [])
        self.assertEqual(self.export(self.merge(1)), self.expected)

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


class Profile(Slurm, Snakemake):
    def test_array(self):
        self.skipTest("see Slurm")

    test_requeued_task = test_one_machine = test_array

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
