-- Version 1: what was inspected, photo by photo and head by head.
CREATE TABLE inspection (
  id       INTEGER PRIMARY KEY,
  key      TEXT NOT NULL UNIQUE, -- of the schedule and the photos
  content  TEXT NOT NULL,        -- of all that is kept of it
  folder   TEXT NOT NULL,        -- where inspect wrote it
  made     TEXT NOT NULL,        -- RFC 3339
  tool     TEXT NOT NULL,        -- version
  title    TEXT NOT NULL,
  schedule TEXT NOT NULL         -- SHA-256
) STRICT;

CREATE TABLE photo (
  id         INTEGER PRIMARY KEY,
  inspection INTEGER NOT NULL REFERENCES inspection (id) ON DELETE CASCADE,
  sha256     TEXT NOT NULL,
  file       TEXT NOT NULL,
  taken      TEXT NOT NULL, -- RFC 3339 or without offset; '' when the file does not say
  device     TEXT NOT NULL,
  crew       TEXT NOT NULL,
  status     TEXT NOT NULL, -- measured | refused
  reason     TEXT NOT NULL, -- of a refusal
  UNIQUE (inspection, sha256)
) STRICT;

-- Lengths are mm with their standard uncertainty u; NULL where there is none.
CREATE TABLE head (
  photo  INTEGER NOT NULL REFERENCES photo (id) ON DELETE CASCADE,
  n      INTEGER NOT NULL,
  x_px REAL NOT NULL, y_px REAL NOT NULL, radius_px REAL NOT NULL,
  piece  INTEGER NOT NULL, -- -1 when it lies on none
  above_butt REAL, above_butt_u REAL,
  left_end   REAL, left_end_u   REAL,
  right_end  REAL, right_end_u  REAL,
  lower_joint REAL, lower_joint_u REAL, -- signed: where the joint lies, to the right of the head
  next_joint  REAL, next_joint_u  REAL,
  diameter    REAL, diameter_u    REAL,
  drive   TEXT NOT NULL,
  rules   TEXT NOT NULL, -- "height:s end:c lower_joint:n": suspect, unresolved, clear, not judged
  verdict TEXT NOT NULL,
  answer  TEXT NOT NULL, -- what people decided; '' while they did not
  PRIMARY KEY (photo, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE piece (
  photo INTEGER NOT NULL REFERENCES photo (id) ON DELETE CASCADE,
  n     INTEGER NOT NULL,
  width REAL, width_u REAL, -- mm
  PRIMARY KEY (photo, n)
) STRICT, WITHOUT ROWID;

-- Rules about pieces and joints.
CREATE TABLE finding (
  photo  INTEGER NOT NULL REFERENCES photo (id) ON DELETE CASCADE,
  target TEXT NOT NULL, -- as decisions name it
  piece  INTEGER NOT NULL,
  rule   TEXT NOT NULL,
  result TEXT NOT NULL,
  answer TEXT NOT NULL,
  PRIMARY KEY (photo, target)
) STRICT, WITHOUT ROWID;

-- Heads that people saw and the measurement did not.
CREATE TABLE missed (
  photo  INTEGER NOT NULL REFERENCES photo (id) ON DELETE CASCADE,
  target TEXT NOT NULL,
  x_px REAL NOT NULL, y_px REAL NOT NULL,
  PRIMARY KEY (photo, target)
) STRICT, WITHOUT ROWID;
