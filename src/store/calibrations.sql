-- Calibrations against a reference: one row each, never changed, because a name means one line for ever.
-- `document` is the whole of it: loads, line, reference standard, who and when.
CREATE TABLE calibrations (
    id       INTEGER PRIMARY KEY,
    name     TEXT NOT NULL UNIQUE,
    utc_ns   INTEGER NOT NULL,
    who      TEXT NOT NULL,
    document TEXT NOT NULL CHECK (json_valid(document))
) STRICT;

-- The same to look at.
CREATE VIEW calibrations_known AS
SELECT name, utc_ns, who,
       json_extract(document, '$.taken.performed_on') AS performed_on,
       json_extract(document, '$.taken.performed_by') AS performed_by,
       json_extract(document, '$.taken.valid_until') AS valid_until,
       json_extract(document, '$.taken.reference.standard') AS standard,
       json_extract(document, '$.taken.reference.certificate') AS certificate,
       json_extract(document, '$.taken.reference.uncertainty_percent') AS reference_uncertainty_percent,
       json_extract(document, '$.taken.degree') AS degree,
       json_extract(document, '$.line.coefficients_kN') AS coefficients_kN,
       json_extract(document, '$.residual_sd_kN') AS residual_sd_kN,
       json_extract(document, '$.llf_kN') AS llf_kN
FROM calibrations;
