-- Schema 2: marks of readers on radiolucent lines.

-- What a reader holds of the program's answer on radiolucent lines, one row an interface of a zone. Made in the review
-- window, where the program's answer is seen: no independent reading.
CREATE TABLE zone_marks (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  film INTEGER NOT NULL,                  -- [] number of the film within the hip
  zone INTEGER NOT NULL,                  -- [] 1 to 7 AP, 8 to 14 lateral
  interface TEXT NOT NULL,                -- [] stem_bone, stem_cement or cement_bone
  mark_reader TEXT NOT NULL,              -- [] who made the mark, as the reader chose to be called
  opinion TEXT NOT NULL,                  -- [] agree, disagree or cannot_tell
  program TEXT NOT NULL,                  -- [] what the program said then: present, absent, cannot_tell or not_seen
  marked_at TEXT NOT NULL,                -- [UTC] ISO 8601
  PRIMARY KEY (hip_id, film, zone, interface, mark_reader)
) STRICT, WITHOUT ROWID;
