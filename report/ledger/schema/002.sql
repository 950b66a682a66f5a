-- Version 2: the product's lengths, the day of a photo, and which of several
-- inspections of one photo counts: the one that was made last.
ALTER TABLE inspection ADD COLUMN width     REAL; -- mm; NULL where no schedule was at hand
ALTER TABLE inspection ADD COLUMN height    REAL;
ALTER TABLE inspection ADD COLUMN exposure  REAL;
ALTER TABLE inspection ADD COLUMN band_low  REAL;
ALTER TABLE inspection ADD COLUMN band_high REAL;
ALTER TABLE inspection ADD COLUMN end_min   REAL;
ALTER TABLE inspection ADD COLUMN end_max   REAL;
ALTER TABLE inspection ADD COLUMN clearance REAL;
ALTER TABLE inspection ADD COLUMN per_piece INTEGER;

ALTER TABLE photo ADD COLUMN day     TEXT NOT NULL DEFAULT ''; -- 2026-05-04, of taken, else of made
ALTER TABLE photo ADD COLUMN counted INTEGER NOT NULL DEFAULT 1;

UPDATE photo SET day = substr(CASE taken WHEN '' THEN (SELECT made FROM inspection i WHERE i.id = photo.inspection) ELSE taken END, 1, 10);

CREATE INDEX photo_by_sha ON photo (sha256);
CREATE INDEX photo_by_crew ON photo (crew, day) WHERE counted = 1;

UPDATE photo SET counted = (id = (
  SELECT q.id FROM photo q JOIN inspection i ON i.id = q.inspection
  WHERE q.sha256 = photo.sha256 ORDER BY i.made DESC, i.id DESC LIMIT 1));
