-- What a name on the shelf meant when a run got it: the number of the shelf's newest row then. In the tags of a run it
-- stands in its document; here it is that of a setup or tool named afterwards. Null in rows of before: then the time of
-- the row tells.
ALTER TABLE corrections ADD COLUMN shelf INTEGER REFERENCES shelf (id);
