-- What the work-up had in hand was kept here for speed, and believed. It is worked up
-- from the entries now.
DROP TABLE states;
