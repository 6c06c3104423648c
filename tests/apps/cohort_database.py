#!/usr/bin/env python3
"""Makes a registry's database of simulated hips, for tests and for looking at the page.

    cohort_database.py FILE [HIPS] [SEED]

The numbers are drawn here and mean nothing: two designs that settle alike, one goes on moving; lines in
some zones; some hips examined twice on a day; some hips refused, undated, or without a scale.
"""
import datetime
import math
import pathlib
import random
import sqlite3
import sys

SCHEMA = pathlib.Path(__file__).resolve().parents[2] / "modules/registry/schema"
MILESTONES = (42, 91, 183, 365, 730, 1095, 1461, 1826)
LIMITS = (("early-limit", "subsidence_mm", "mm", 1.5), ("tilt-limit", "tilt_change_deg", "deg", 2.0))


def verdict(value, u, limit):
    p = 0.5 * math.erfc((limit - value) / u / math.sqrt(2))
    return ("exceeds" if p >= 0.95 else "within" if p <= 0.05 else "cannot_tell"), p


class Maker:
    def __init__(self, file, seed):
        self.dice = random.Random(seed)
        self.db = sqlite3.connect(file)
        for text in sorted(SCHEMA.glob("*.sql")):
            self.db.executescript(text.read_text())
        self.db.execute("PRAGMA user_version = %d" % len(list(SCHEMA.glob("*.sql"))))
        self.db.execute("PRAGMA application_id = %d" % 0x54644D6B)

    def insert(self, table, **cells):
        names, marks = ", ".join(cells), ", ".join("?" * len(cells))
        self.db.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", list(cells.values()))

    def hip(self, number):
        dice = self.dice
        group = dice.choice(["design A", "design B"])
        kind = {0: "refused", 1: "undated", 2: "no_group"}.get(number % 23, "usual")
        surgery = datetime.date(2018, 1, 1) + datetime.timedelta(days=dice.randrange(700))
        self.insert("hips", hip_id=number + 1, hip=f"H-{number:04d}", patient=f"P-{number // 2 if number % 11 == 0 else number:04d}",
                    side=dice.choice("LR"), surgery_date=None if kind == "undated" else surgery.isoformat(),
                    fixation="uncemented", status="refused" if kind == "refused" else "measured",
                    reason="no film could be read" if kind == "refused" else None,
                    input_sha256="0", options_sha256="0", tool_version="0", length_unit="mm",
                    criteria_set="made-up/1", reference_film_u_mm=0.12)
        if kind != "no_group":
            self.insert("hip_groups", hip_id=number + 1, name="design", value=group)
        if kind == "refused":
            return
        reference_day = dice.choice([1, 2, 3, 20, 1, 2, 3, 120])
        self.film(number, 0, surgery, reference_day, 1, "reference", 0.0)
        motion = (0.8 + 0.4 * dice.gauss(0, 1), (0.35 if group == "design B" else 0.05) + 0.1 * dice.gauss(0, 1),
                  0.5 * dice.gauss(0, 1))
        index, end = 0, dice.uniform(200, 1900)
        for milestone in MILESTONES:
            day = milestone + dice.randrange(-10, 11)
            if day > end or day <= reference_day or dice.random() < 0.12:
                continue
            twice = 2 if milestone == 365 and dice.random() < 0.6 else 1
            for examination in range(1, twice + 1):
                self.comparison(number, index, surgery, reference_day, day, examination, motion,
                                kind == "undated")
                index += 1

    def film(self, number, film, surgery, day, examination, role, later, undated=False):
        self.insert("films", hip_id=number + 1, film=film, role=role, status="measured",
                    date=(surgery + datetime.timedelta(days=day)).isoformat(),
                    days_from_surgery=None if undated else day, examination=examination, view="AP")
        for zone in range(1, 8):
            p = 0.03 + 0.05 * later * (zone in (1, 7))
            state = self.dice.choices(["present", "absent", "cannot_tell", "not_seen"],
                                      [p, 0.7, 0.25 - p, 0.05])[0]
            self.insert("zones", hip_id=number + 1, film=film, zone=zone, interface="stem_bone", state=state)

    def comparison(self, number, index, surgery, reference_day, day, examination, motion, undated):
        settled = lambda t: 1 - math.exp(-t / 30)
        later = max(0, day - 91.3125) / 365.25
        self.film(number, index + 1, surgery, day, examination, "follow-up", later, undated)
        measured = self.dice.random() > 0.04
        row = dict(hip_id=number + 1, comparison=index, reference=0, follow_up=index + 1,
                   days=day - reference_day, days_from_surgery=None if undated else day,
                   examination=examination, status="measured" if measured else "not_measured",
                   reason=None if measured else "the bone cannot be aligned")
        if not measured:
            self.insert("comparisons", **row)
            return
        u = self.dice.uniform(0.2, 0.4)
        true = (motion[0] * (settled(day) - settled(reference_day)) + motion[1] * later, 0.1, motion[2] * settled(day))
        values = []
        for name, unit, value in zip(("subsidence", "medial", "tilt_change"), ("mm", "mm", "deg"), true):
            seen = round(self.dice.gauss(value, u), 4)
            values.append(seen)
            row.update({f"{name}_{unit}": seen, f"{name}_u_{unit}": round(u, 4), f"{name}_u95_{unit}": round(1.96 * u, 4)})
        self.insert("comparisons", **row)
        for criterion, quantity, unit, limit in LIMITS:
            value = values[0] if unit == "mm" else abs(values[2])
            said, p = verdict(value, u, limit)
            if criterion == "early-limit" and day > 850:
                said = "not_applicable"
            # As docs/assessment.md: a late reference film hides what came before, so nothing is within.
            if not undated and reference_day > 91 and said != "exceeds":
                said = "not_applicable"
            elif not undated and reference_day > 14 and said == "within":
                said = "cannot_tell"
            self.insert("findings", hip_id=number + 1, comparison=index, criterion=criterion, quantity=quantity,
                        unit=unit, value=value, u=u, u95=1.96 * u, threshold=limit, days=day, verdict=said,
                        because="made up", probability_exceeds=p)


def make(file, hips=60, seed=1):
    maker = Maker(file, seed)
    for number in range(hips):
        maker.hip(number)
    maker.db.commit()
    maker.db.close()


if __name__ == "__main__":
    make(sys.argv[1], *map(int, sys.argv[2:]))
