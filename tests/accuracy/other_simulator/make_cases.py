#!/usr/bin/python3
"""Writes simulated hips (films, series.json, truth.json) to OUT/case-NN.

usage: make_cases.py --meshes DIR|--drawn --out DIR [--cases 12] [--followups 2] [--seed 1] [--set seat|still|hard|lucency] [--stem-surface]
                     [--lateral [1|2]] [--unlike] [--jobs 1]
"""
import argparse
import multiprocessing
import os
import shutil
import sys

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import case  # noqa: E402


def one(args):
    options, number = args
    final = os.path.join(options.out, f"case-{number:02d}")
    part = final + ".part"
    shutil.rmtree(part, ignore_errors=True)
    seconds = case.make_case(options.meshes, part, options.seed, number, options.followups, options.set,
                             options.stem_surface, options.lateral, options.unlike)
    if os.path.exists(final):
        shutil.rmtree(final + ".old", ignore_errors=True)
        os.rename(final, final + ".old")
    os.rename(part, final)
    shutil.rmtree(final + ".old", ignore_errors=True)
    return number, seconds


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument("--meshes", help="folder that holds ssm-lower-limb/")
    source.add_argument("--drawn", action="store_true", help="bones drawn from formulas, another for each case (drawn.py)")
    parser.add_argument("--out", required=True)
    parser.add_argument("--cases", type=int, default=12)
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--followups", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--set", choices=sorted(case.PLANS), default="seat")
    parser.add_argument("--stem-surface", action="store_true", help="the stem's surface beside the films: stem.stl")
    parser.add_argument("--lateral", nargs="?", type=int, const=1, default=0, choices=(1, 2),
                        help="a lateral film of the first film's day too, listed last; 2: also one of the last film's day")
    parser.add_argument("--unlike", action="store_true", help="stems, heads, sockets and bones that differ more (unlike.py)")
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    os.makedirs(options.out, exist_ok=True)
    work = [(options, n) for n in range(options.first, options.first + options.cases)]
    with multiprocessing.Pool(options.jobs) as pool:
        for number, seconds in pool.imap(one, work):
            print(f"case-{number:02d}: {seconds:.1f} s a film", flush=True)


if __name__ == "__main__":
    main()
