-- Version 3: a photo whose file tells no date has none; the day of the inspection
-- is not that of the work.
UPDATE photo SET day = '' WHERE taken = '';
