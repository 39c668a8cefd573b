-- Entries may stand between others that were written before them (place in their content),
-- settings are entries, and fixes say by which rule they count: what an older program would
-- not know.
CREATE INDEX entries_in_place ON entries (journey, coalesce(json_extract(content, '$.place'), slot * 4294967296), number);
