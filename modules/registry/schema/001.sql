-- Schema 1 of the registry's database. The comments after the columns are the data dictionary:
-- "-- [unit] meaning". A later schema is a file of its own (002.sql) that alters this one.
-- Names, signs and units are those of result.json (docs/result-format.md): a measured quantity has
-- three columns, NAME_UNIT, NAME_u_UNIT (standard uncertainty), NAME_u95_UNIT (half-width of the
-- 95 % interval). NULL is unknown, never zero.

-- Facts about the database.
CREATE TABLE meta (
  key TEXT NOT NULL PRIMARY KEY,  -- [] name of the fact
  value TEXT NOT NULL             -- [] its value
) STRICT, WITHOUT ROWID;

-- Each start of `tidemark batch` or `tidemark merge`. Not part of the export: it tells of clocks and machines.
CREATE TABLE runs (
  run INTEGER PRIMARY KEY,                -- [] number of the run
  command TEXT NOT NULL,                  -- [] batch or merge
  started TEXT NOT NULL,                  -- [UTC] ISO 8601
  ended TEXT,                             -- [UTC] ISO 8601; empty when the run was killed
  outcome TEXT,                           -- [] complete, or why the run ended early; of a merge what was missing
  tool_version TEXT NOT NULL,             -- [] of the program
  options_sha256 TEXT NOT NULL,           -- [] of the options that the numbers depend on
  options TEXT NOT NULL,                  -- [JSON] those options
  shard INTEGER NOT NULL DEFAULT 1,       -- [] i of --shard i/n
  shards INTEGER NOT NULL DEFAULT 1,      -- [] n of --shard i/n
  jobs INTEGER NOT NULL DEFAULT 1         -- [] workers at a time
) STRICT;

-- Each time a hip was measured, in the order of being done. Not part of the export.
CREATE TABLE attempts (
  attempt INTEGER PRIMARY KEY,            -- [] number of the attempt
  run INTEGER NOT NULL REFERENCES runs,   -- [] the run it belongs to
  hip TEXT NOT NULL,                      -- [] as in hips
  reader TEXT NOT NULL,                   -- [] as in hips
  input_sha256 TEXT NOT NULL,             -- [] as in hips
  options_sha256 TEXT NOT NULL,           -- [] as in hips
  status TEXT NOT NULL,                   -- [] as in hips
  seconds REAL NOT NULL,                  -- [s] wall time of its worker
  peak_kib INTEGER NOT NULL               -- [KiB] largest resident memory of its worker
) STRICT;

-- Place and times of each file when it was last hashed, so that an unchanged file is not read again.
-- Not part of the export; merge does not copy it.
CREATE TABLE seen_files (
  path_sha256 TEXT NOT NULL PRIMARY KEY,  -- [] of the absolute path after a random salt of this database
  stamp TEXT NOT NULL,                    -- [] size, inode, times of modification and change
  sha256 TEXT NOT NULL                    -- [] of the bytes
) STRICT, WITHOUT ROWID;

-- One row a hip and reader: what was known before and what came out.
CREATE TABLE hips (
  hip_id INTEGER PRIMARY KEY,             -- [] joins the tables of one database; not stable, not exported
  hip TEXT NOT NULL,                      -- [] the sheet's name for the hip, or a pseudonym
  reader TEXT NOT NULL DEFAULT '',        -- [] who corrected landmarks, by the sheet; empty: nobody
  patient TEXT,                           -- [] the sheet's code or a pseudonym for the patient: joins two hips of one person
  side TEXT CHECK (side IN ('R', 'L')),   -- [] side of the hip
  surgery_date TEXT,                      -- [YYYY-MM-DD] of the operation
  fixation TEXT,                          -- [] uncemented, cemented, cemented_polished_taper, cemented_composite_beam
  head_diameter_mm REAL,                  -- [mm] as stated
  stem_length_mm REAL,                    -- [mm] as stated
  status TEXT NOT NULL CHECK (status IN ('measured', 'partly', 'refused', 'failed')),  -- [] all films and comparisons measured; some; none; the worker crashed, hung or ran out of memory
  reason TEXT,                            -- [] one sentence when not all was measured
  input_sha256 TEXT NOT NULL,             -- [] of the sheet's facts, of the bytes of every film and of the stem's surface, or of what was wrong
  options_sha256 TEXT NOT NULL,           -- [] of the options that the numbers depend on
  tool_version TEXT NOT NULL,             -- [] of the program that measured
  length_unit TEXT,                       -- [] mm, or reference_px when nothing gave a scale: columns in mm are then empty
  criteria_set TEXT,                      -- [] criteria that the hip was judged by
  headline_verdict TEXT,                  -- [] exceeds, within or cannot_tell
  pattern TEXT,                           -- [] settled, continuous, late, stable or cannot_tell
  p_settled REAL,                         -- [] probability of the pattern, 0 to 1
  p_continuous REAL,                      -- [] probability of the pattern, 0 to 1
  p_late REAL,                            -- [] probability of the pattern, 0 to 1
  p_stable REAL,                          -- [] probability of the pattern, 0 to 1
  late_change_mm REAL,                    -- [mm] subsidence since the first film three months or more after surgery, be it the reference film
  late_change_u_mm REAL,                  -- [mm] its standard uncertainty
  late_change_u95_mm REAL,                -- [mm] half-width of its 95 % interval
  late_change_days INTEGER,               -- [d] time it took
  late_rate_mm_per_year REAL,             -- [mm/year] slope through the films three months or more after surgery
  late_rate_u_mm_per_year REAL,           -- [mm/year] its standard uncertainty
  late_rate_u95_mm_per_year REAL,         -- [mm/year] half-width of its 95 % interval
  reference_film_u_mm REAL,               -- [mm] error of the reference film, common to all comparisons of the hip
  UNIQUE (hip, reader)
) STRICT;

-- The sheet's columns group_NAME: stem design, centre, surgeon's approach and the like.
CREATE TABLE hip_groups (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  name TEXT NOT NULL,                     -- [] NAME of the column group_NAME
  value TEXT NOT NULL,                    -- [] its cell
  PRIMARY KEY (hip_id, name)
) STRICT, WITHOUT ROWID;

-- One row a film.
CREATE TABLE films (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  film INTEGER NOT NULL,                  -- [] index within the hip, from 0; film NN of messages and pictures
  sha256 TEXT,                            -- [] of the file's bytes
  role TEXT NOT NULL,                     -- [] reference or follow-up
  status TEXT NOT NULL,                   -- [] measured or not_measured
  reason TEXT,                            -- [] one sentence, when not measured
  date TEXT,                              -- [YYYY-MM-DD] of the film
  days_from_surgery INTEGER,              -- [d] since the operation
  examination INTEGER NOT NULL,           -- [] 1, or 2 and more for further films of the same visit and view (double examinations); frontal and lateral films are counted apart, measured ones first
  view TEXT,                              -- [] AP, PA, LAT or OTHER
  scale_method TEXT,                      -- [] head_diameter, marker_diameter, stem_length, dicom, given or pixels
  mm_per_px REAL,                         -- [mm/px] scale in the plane of the stem
  mm_per_px_u REAL,                       -- [mm/px] its standard uncertainty
  mm_per_px_u95 REAL,                     -- [mm/px] half-width of its 95 % interval
  tilt_deg REAL,                          -- [deg] stem axis against shaft axis, varus positive
  tilt_u_deg REAL,                        -- [deg] its standard uncertainty
  tilt_u95_deg REAL,                      -- [deg] half-width of its 95 % interval
  stem_confidence REAL,                   -- [] 0 to 1: how much this looks like a stem with its head
  PRIMARY KEY (hip_id, film)
) STRICT, WITHOUT ROWID;

-- One row a follow-up film against the reference film of its hip.
CREATE TABLE comparisons (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  comparison INTEGER NOT NULL,            -- [] index within the hip, from 0
  reference INTEGER NOT NULL,             -- [] film
  follow_up INTEGER NOT NULL,             -- [] film
  days INTEGER,                           -- [d] from the reference film to the follow-up film
  days_from_surgery INTEGER,              -- [d] from surgery to the follow-up film
  examination INTEGER NOT NULL,           -- [] of the follow-up film; rows of one hip and date with 1 and 2 are a double examination
  status TEXT NOT NULL,                   -- [] measured or not_measured
  reason TEXT,                            -- [] one sentence, when not measured
  subsidence_mm REAL,                     -- [mm] of the stem's reference point, distal positive
  subsidence_u_mm REAL,                   -- [mm] its standard uncertainty
  subsidence_u95_mm REAL,                 -- [mm] half-width of its 95 % interval
  subsidence_at_head_centre_mm REAL,      -- [mm] the same of the head's centre
  subsidence_at_head_centre_u_mm REAL,    -- [mm] its standard uncertainty
  subsidence_at_head_centre_u95_mm REAL,  -- [mm] half-width of its 95 % interval
  subsidence_at_shoulder_mm REAL,         -- [mm] the same of the shoulder
  subsidence_at_shoulder_u_mm REAL,       -- [mm] its standard uncertainty
  subsidence_at_shoulder_u95_mm REAL,     -- [mm] half-width of its 95 % interval
  subsidence_at_tip_mm REAL,              -- [mm] the same of the tip
  subsidence_at_tip_u_mm REAL,            -- [mm] its standard uncertainty
  subsidence_at_tip_u95_mm REAL,          -- [mm] half-width of its 95 % interval
  medial_mm REAL,                         -- [mm] of the stem's reference point, medial positive
  medial_u_mm REAL,                       -- [mm] its standard uncertainty
  medial_u95_mm REAL,                     -- [mm] half-width of its 95 % interval
  tilt_change_deg REAL,                   -- [deg] varus positive
  tilt_change_u_deg REAL,                 -- [deg] its standard uncertainty
  tilt_change_u95_deg REAL,               -- [deg] half-width of its 95 % interval
  landmarks_subsidence_mm REAL,           -- [mm] second opinion by landmarks alone
  landmarks_subsidence_u_mm REAL,         -- [mm] its standard uncertainty
  landmarks_subsidence_u95_mm REAL,       -- [mm] half-width of its 95 % interval
  PRIMARY KEY (hip_id, comparison)
) STRICT, WITHOUT ROWID;

-- What the standard uncertainty of a comparison's subsidence is made of.
CREATE TABLE budget (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  comparison INTEGER NOT NULL,            -- [] the comparison
  item INTEGER NOT NULL,                  -- [] order within the comparison
  source TEXT NOT NULL,                   -- [] what contributes
  u_mm REAL NOT NULL,                     -- [mm] standard uncertainty from it
  PRIMARY KEY (hip_id, comparison, item)
) STRICT, WITHOUT ROWID;

-- Radiolucent lines: one row a film, zone and interface.
CREATE TABLE zones (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  film INTEGER NOT NULL,                  -- [] the film
  zone INTEGER NOT NULL,                  -- [] 1 to 7 on AP films, 8 to 14 on lateral ones
  interface TEXT NOT NULL,                -- [] stem_bone, stem_cement or cement_bone
  state TEXT NOT NULL,                    -- [] present, absent, cannot_tell or not_seen
  reason TEXT,                            -- [] one sentence for cannot_tell and not_seen
  zone_length_mm REAL,                    -- [mm] of the zone along the interface
  seen_fraction REAL,                     -- [] share of the zone that could be judged, 0 to 1
  extent_fraction REAL,                   -- [] share of the seen part with a line, 0 to 1
  max_mm REAL,                            -- [mm] greatest width of the line
  max_u_mm REAL,                          -- [mm] its standard uncertainty
  max_u95_mm REAL,                        -- [mm] half-width of its 95 % interval
  mean_mm REAL,                           -- [mm] mean width over the line's length
  mean_u_mm REAL,                         -- [mm] its standard uncertainty
  mean_u95_mm REAL,                       -- [mm] half-width of its 95 % interval
  length_mm REAL,                         -- [mm] of the line along the interface
  length_u_mm REAL,                       -- [mm] its standard uncertainty
  length_u95_mm REAL,                     -- [mm] half-width of its 95 % interval
  depth REAL,                             -- [] how much darker than the bone beyond, share of the step to the metal
  depth_u REAL,                           -- [] its standard uncertainty
  depth_u95 REAL,                         -- [] half-width of its 95 % interval
  sclerotic_rim TEXT,                     -- [] yes, no or cannot_tell
  PRIMARY KEY (hip_id, film, zone, interface)
) STRICT, WITHOUT ROWID;

-- What became of the lines since the reference film: one row a comparison, zone and interface.
CREATE TABLE zone_changes (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  comparison INTEGER NOT NULL,            -- [] the comparison
  zone INTEGER NOT NULL,                  -- [] as in zones
  interface TEXT NOT NULL,                -- [] as in zones
  progressive TEXT NOT NULL,              -- [] yes, no or cannot_tell
  reason TEXT,                            -- [] one sentence
  compared_fraction REAL,                 -- [] share of the zone that both films judge, 0 to 1
  change_mm REAL,                         -- [mm] of the width where it grew most, wider positive
  change_u_mm REAL,                       -- [mm] its standard uncertainty
  change_u95_mm REAL,                     -- [mm] half-width of its 95 % interval
  change_mean_mm REAL,                    -- [mm] of the mean width
  change_mean_u_mm REAL,                  -- [mm] its standard uncertainty
  change_mean_u95_mm REAL,                -- [mm] half-width of its 95 % interval
  change_length_mm REAL,                  -- [mm] of the line's length
  change_length_u_mm REAL,                -- [mm] its standard uncertainty
  change_length_u95_mm REAL,              -- [mm] half-width of its 95 % interval
  PRIMARY KEY (hip_id, comparison, zone, interface)
) STRICT, WITHOUT ROWID;

-- Each criterion held against each comparison.
CREATE TABLE findings (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  comparison INTEGER NOT NULL,            -- [] the comparison
  criterion TEXT NOT NULL,                -- [] id of the criterion (tidemark criteria)
  quantity TEXT NOT NULL,                 -- [] subsidence_mm, late_subsidence_mm, tilt_change_deg and the like
  unit TEXT NOT NULL,                     -- [] mm, mm/year or deg: of value, threshold and typical
  value REAL,                             -- [unit] what was held against the criterion
  u REAL,                                 -- [unit] its standard uncertainty
  u95 REAL,                               -- [unit] half-width of its 95 % interval
  threshold REAL,                         -- [unit] the limit; empty for typical values
  typical REAL,                           -- [unit] what such stems had on average at that time
  days INTEGER,                           -- [d] from surgery, else from the reference film
  verdict TEXT NOT NULL,                  -- [] exceeds, within, cannot_tell or not_applicable
  because TEXT NOT NULL,                  -- [] why the verdict is what it is
  probability_exceeds REAL,               -- [] of the true value lying above the limit, 0 to 1
  certainty TEXT,                         -- [] how sure the limit's value is
  text TEXT,                              -- [] sentence for a person
  PRIMARY KEY (hip_id, comparison, criterion)
) STRICT, WITHOUT ROWID;

-- How the stem was seated, measured on the reference film.
CREATE TABLE seat (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  quantity TEXT NOT NULL,                 -- [] id of the measure
  unit TEXT NOT NULL,                     -- [UCUM] mm, deg or 1: of value and planned
  value REAL,                             -- [unit] as measured
  u REAL,                                 -- [unit] its standard uncertainty
  u95 REAL,                               -- [unit] half-width of its 95 % interval
  planned REAL,                           -- [unit] as planned
  verdict TEXT,                           -- [] against the plan: as_planned, off_plan, cannot_tell or not_planned
  class TEXT,                             -- [] id of the published class that the value surely lies in
  reason TEXT,                            -- [] one sentence when there is no value
  PRIMARY KEY (hip_id, quantity)
) STRICT, WITHOUT ROWID;

-- Things that a reader of the numbers must know.
CREATE TABLE flags (
  hip_id INTEGER NOT NULL REFERENCES hips ON DELETE CASCADE,  -- [] the hip
  scope TEXT NOT NULL CHECK (scope IN ('hip', 'film', 'comparison')),  -- [] what the flag is about
  number INTEGER NOT NULL,                -- [] film or comparison; 0 for the hip
  item INTEGER NOT NULL,                  -- [] order within the scope
  flag TEXT NOT NULL,                     -- [] id
  text TEXT NOT NULL,                     -- [] sentence for a person
  PRIMARY KEY (hip_id, scope, number, item)
) STRICT, WITHOUT ROWID;

-- Files of a heap that are not measured: one row a file, or a file and hip where one film shows two.
CREATE TABLE set_aside (
  item TEXT NOT NULL,                     -- [] SHA-256 of the bytes; of a number for a further file of the same bytes or without any, or by --pseudonym-key of its path
  hip TEXT NOT NULL DEFAULT '',           -- [] the hip that it would belong to; empty: not known
  kind TEXT NOT NULL,                     -- [] lateral_view, other_view, other_body_part, other_modality, no_pixels, copy, before_surgery, no_stem_yet, patient_unknown, date_unknown or unreadable
  reason TEXT NOT NULL,                   -- [] one sentence
  date TEXT,                              -- [YYYY-MM-DD] of the film, where it is known
  PRIMARY KEY (item, hip)
) STRICT, WITHOUT ROWID;

CREATE INDEX comparisons_by_days ON comparisons (days);
CREATE INDEX findings_by_criterion ON findings (criterion, verdict);
CREATE INDEX attempts_by_hip ON attempts (hip, reader);
