CREATE SCHEMA market;
COMMENT ON SCHEMA market IS 'Rows whose until_entry is null stand now; the others went with that entry of pricing.entries.';
CREATE SCHEMA pricing;
CREATE TABLE market.aliases (
    field text,
    make text,
    model text,
    typed text,
    name text,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.audit (
    done_at timestamp without time zone,
    action text,
    subject text,
    detail text,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.batches (
    batch_id text,
    loaded_at timestamp without time zone,
    files text[],
    read bigint,
    accepted bigint,
    rejected bigint,
    known bigint,
    undone_at timestamp without time zone,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.charges (
    source text,
    kind text,
    valid_from date,
    currency text,
    terms text,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.corrections (
    record_id text,
    "column" text,
    old text,
    new text,
    reason text,
    done_at timestamp without time zone,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.fits (
    fit_id text,
    fitted_at timestamp without time zone,
    facts text,
    payload bytea,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.links (
    record_id text,
    other_id text,
    rule text,
    batch_id text,
    parted_at timestamp without time zone,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.mappings (
    source text,
    mapping text,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.market (
    kind text,
    version text,
    base_currency text,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.own_rates (
    currency text,
    rate_date date,
    rate numeric(20,6),
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.quarantine (
    quarantine_id text,
    batch_id text,
    source text,
    file text,
    row_number bigint,
    raw text,
    broken_rules text[],
    settled_by text,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.records (
    record_id text,
    source text,
    source_ref text,
    batch_id text,
    make text,
    model text,
    variant text,
    year smallint,
    chassis_number text,
    body_style text,
    drive_side text,
    condition_band text,
    condition_score double precision,
    odometer_km double precision,
    options text[],
    matching_numbers text,
    history_file boolean,
    channel text,
    country text,
    outcome text,
    event_date date,
    amount numeric(18,3),
    currency text,
    price_basis text,
    premium numeric(18,3),
    low_estimate numeric(18,3),
    high_estimate numeric(18,3),
    reserve numeric(18,3),
    highest_bid numeric(18,3),
    listed_on date,
    notes text,
    price numeric(18,2),
    lower_price numeric(18,2),
    upper_price numeric(18,2),
    rate_date date,
    file text,
    row_number bigint,
    chassis_key text,
    model_key text,
    front_id text,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE market.suspicions (
    record_id text,
    reason text,
    detail text,
    found_at timestamp without time zone,
    verdict text,
    settled_at timestamp without time zone,
    row_digest uuid NOT NULL,
    since_entry bigint NOT NULL,
    until_entry bigint
);
CREATE TABLE pricing.entries (
    number bigint NOT NULL,
    token text NOT NULL,
    made_at timestamp with time zone DEFAULT clock_timestamp() NOT NULL,
    made_by text DEFAULT SESSION_USER NOT NULL,
    made_from text DEFAULT COALESCE(host(inet_client_addr()), 'this machine'::text) NOT NULL,
    tables text[] NOT NULL
);
CREATE TABLE pricing.layouts (
    name text NOT NULL,
    statement text NOT NULL
);
CREATE TABLE pricing.version (
    version integer NOT NULL
);
INSERT INTO market.aliases VALUES ('make', NULL, NULL, 'corvan', 'Corváne', 'ac63167e-dd58-6cbc-bb5d-868e17be09c0', 5, NULL);
INSERT INTO market.audit VALUES ('2026-11-25 12:38:19.267128', 'load', 'batch-0001', '{"files": ["notes.csv"], "read": 3, "accepted": 2, "rejected": 1, "known": 0, "mended": 0, "linked": 0}', '2bf9ba66-fd74-c056-3711-1b096106f9b7', 2, NULL);
INSERT INTO market.audit VALUES ('2026-11-25 12:38:19.44503', 'undo', 'batch-0001', '{"records": 2}', '1f6406d5-9754-3930-7668-be336e01ad23', 3, NULL);
INSERT INTO market.audit VALUES ('2026-11-25 12:38:19.752283', 'load', 'batch-0002', '{"files": ["notes.csv"], "read": 3, "accepted": 2, "rejected": 1, "known": 0, "mended": 0, "linked": 0}', '388c5d5f-bd1a-9b36-ff40-38f17d377845', 4, NULL);
INSERT INTO market.audit VALUES ('2026-11-25 12:38:19.928525', 'name', 'corvan', '{"field": "make", "make": null, "model": null, "name": "Corv\u00e1ne"}', 'c3cb3a94-a239-7f12-d4a9-df3204937685', 5, NULL);
INSERT INTO market.audit VALUES ('2026-11-25 12:38:19.991528', 'fit', 'fit-0001', '{"rows": 2}', 'd4383bd2-8554-9d3a-ac67-544b70bb5b47', 6, NULL);
INSERT INTO market.batches VALUES ('batch-0001', '2026-11-25 12:38:19.267128', '{notes.csv}', 3, 2, 1, 0, NULL, '237baf40-daf9-ca09-0e35-18e2701d9e09', 2, 3);
INSERT INTO market.batches VALUES ('batch-0001', '2026-11-25 12:38:19.267128', '{notes.csv}', 3, 2, 1, 0, '2026-11-25 12:38:19.44503', 'bea685a8-6a73-67c6-f570-b15a3ca78621', 3, NULL);
INSERT INTO market.batches VALUES ('batch-0002', '2026-11-25 12:38:19.752283', '{notes.csv}', 3, 2, 1, 0, NULL, 'e17f04df-7335-40d4-5dd4-a585bc2f0624', 4, NULL);
INSERT INTO market.fits VALUES ('fit-0001', '2026-11-25 12:38:19.991528', '{"rows": 2}', '\x005c6120666974', 'd2611e99-0731-3e4b-8cdb-03d5f04dd0b4', 6, NULL);
INSERT INTO market.market VALUES ('classic car market', '1', 'EUR', 'b3ddd247-d946-5a04-10f0-55faacdaf00b', 1, NULL);
INSERT INTO market.quarantine VALUES ('e29ab2f94d1641082b12c7c9', 'batch-0001', 'notes', 'notes.csv', 4, '{"make":"Corvane","model":"Six","year":"1968","channel":"private","country":"GB","outcome":"sold","event_date":"2024-05-01","amount":"-1","currency":"GBP","price_basis":"all-in","notes":null,"options":null}', '{amount_not_positive}', NULL, '26be0fef-133f-c74e-c22b-ee13ee91c5ad', 2, 3);
INSERT INTO market.quarantine VALUES ('e29ab2f94d1641082b12c7c9', 'batch-0002', 'notes', 'notes.csv', 4, '{"make":"Corvane","model":"Six","year":"1968","channel":"private","country":"GB","outcome":"sold","event_date":"2024-05-01","amount":"-1","currency":"GBP","price_basis":"all-in","notes":null,"options":null}', '{amount_not_positive}', NULL, 'b4d1c4eb-5ab4-9fb0-9e56-cf7deb300378', 4, NULL);
INSERT INTO market.records VALUES ('0b91b207b93d2fbae0205c80', 'notes', 'row 0b91b207b93d', 'batch-0001', 'Corváne', 'Six', NULL, 1968, NULL, NULL, NULL, NULL, NULL, NULL, '{overdrive}', NULL, NULL, 'private', 'GB', 'sold', '2024-05-01', 4250.000, 'GBP', 'all-in', NULL, NULL, NULL, NULL, NULL, NULL, 'two	cells', 4972.04, NULL, NULL, '2024-04-30', 'notes.csv', 2, NULL, 'six', NULL, 'abf973bd-015a-2115-a7c2-1f462051788f', 2, 3);
INSERT INTO market.records VALUES ('80138bc4694b8cc6657a5535', 'notes', 'row 80138bc4694b', 'batch-0001', 'Corvane', 'Six', NULL, 1968, NULL, NULL, NULL, NULL, NULL, NULL, '{}', NULL, NULL, 'private', 'GB', 'sold', '2024-05-01', 5000.000, 'GBP', 'all-in', NULL, NULL, NULL, NULL, NULL, NULL, NULL, 5849.46, NULL, NULL, '2024-04-30', 'notes.csv', 3, NULL, 'six', NULL, 'd15532d1-dc17-b9d7-1a53-f51d2207c90e', 2, 3);
INSERT INTO market.records VALUES ('0b91b207b93d2fbae0205c80', 'notes', 'row 0b91b207b93d', 'batch-0002', 'Corváne', 'Six', NULL, 1968, NULL, NULL, NULL, NULL, NULL, NULL, '{overdrive}', NULL, NULL, 'private', 'GB', 'sold', '2024-05-01', 4250.000, 'GBP', 'all-in', NULL, NULL, NULL, NULL, NULL, NULL, 'two	cells', 4972.04, NULL, NULL, '2024-04-30', 'notes.csv', 2, NULL, 'six', NULL, '9eb0917a-9a9e-8643-12ab-377bd03f9bc1', 4, NULL);
INSERT INTO market.records VALUES ('80138bc4694b8cc6657a5535', 'notes', 'row 80138bc4694b', 'batch-0002', 'Corvane', 'Six', NULL, 1968, NULL, NULL, NULL, NULL, NULL, NULL, '{}', NULL, NULL, 'private', 'GB', 'sold', '2024-05-01', 5000.000, 'GBP', 'all-in', NULL, NULL, NULL, NULL, NULL, NULL, NULL, 5849.46, NULL, NULL, '2024-04-30', 'notes.csv', 3, NULL, 'six', NULL, '94efc71f-f3b3-13ae-0444-b8e98adf0e25', 4, NULL);
INSERT INTO pricing.entries VALUES (1, 'c904be759ff24cc9832c221c446ac506', '2026-11-25 12:38:18.85255+00', 'postgres', 'this machine', '{aliases,audit,batches,charges,corrections,fits,links,mappings,market,own_rates,quarantine,records,suspicions}');
INSERT INTO pricing.entries VALUES (2, 'fd46e5d510204c0abc0da7d834d436b6', '2026-11-25 12:38:19.392206+00', 'postgres', 'this machine', '{audit,batches,quarantine,records}');
INSERT INTO pricing.entries VALUES (3, 'ccc081e1adcd45cc8ab4463e2c7e55c8', '2026-11-25 12:38:19.569156+00', 'postgres', 'this machine', '{audit,batches,quarantine,records}');
INSERT INTO pricing.entries VALUES (4, '897790106b8340f1ab094526d874955e', '2026-11-25 12:38:19.881029+00', 'postgres', 'this machine', '{audit,batches,quarantine,records}');
INSERT INTO pricing.entries VALUES (5, '8af85e3ecc254b679ddf01078837724f', '2026-11-25 12:38:19.977109+00', 'postgres', 'this machine', '{aliases,audit}');
INSERT INTO pricing.entries VALUES (6, '1ea8b2acd2f740408bdad09a5d94b031', '2026-11-25 12:38:20.062978+00', 'postgres', 'this machine', '{audit,fits}');
INSERT INTO pricing.layouts VALUES ('aliases', 'CREATE TABLE aliases(field VARCHAR, make VARCHAR, model VARCHAR, typed VARCHAR, "name" VARCHAR);');
INSERT INTO pricing.layouts VALUES ('audit', 'CREATE TABLE audit(done_at TIMESTAMP, "action" VARCHAR, subject VARCHAR, detail VARCHAR);');
INSERT INTO pricing.layouts VALUES ('batches', 'CREATE TABLE batches(batch_id VARCHAR, loaded_at TIMESTAMP, files VARCHAR[], "read" BIGINT, accepted BIGINT, rejected BIGINT, known BIGINT, undone_at TIMESTAMP);');
INSERT INTO pricing.layouts VALUES ('charges', 'CREATE TABLE charges("source" VARCHAR, kind VARCHAR, valid_from DATE, currency VARCHAR, terms VARCHAR);');
INSERT INTO pricing.layouts VALUES ('corrections', 'CREATE TABLE corrections(record_id VARCHAR, "column" VARCHAR, "old" VARCHAR, "new" VARCHAR, reason VARCHAR, done_at TIMESTAMP);');
INSERT INTO pricing.layouts VALUES ('fits', 'CREATE TABLE fits(fit_id VARCHAR, fitted_at TIMESTAMP, facts VARCHAR, payload BLOB);');
INSERT INTO pricing.layouts VALUES ('links', 'CREATE TABLE links(record_id VARCHAR, other_id VARCHAR, "rule" VARCHAR, batch_id VARCHAR, parted_at TIMESTAMP);');
INSERT INTO pricing.layouts VALUES ('mappings', 'CREATE TABLE mappings("source" VARCHAR, "mapping" VARCHAR);');
INSERT INTO pricing.layouts VALUES ('market', 'CREATE TABLE market(kind VARCHAR, "version" VARCHAR, base_currency VARCHAR);');
INSERT INTO pricing.layouts VALUES ('own_rates', 'CREATE TABLE own_rates(currency VARCHAR, rate_date DATE, rate DECIMAL(20,6));');
INSERT INTO pricing.layouts VALUES ('quarantine', 'CREATE TABLE quarantine(quarantine_id VARCHAR, batch_id VARCHAR, "source" VARCHAR, file VARCHAR, row_number BIGINT, raw VARCHAR, broken_rules VARCHAR[], settled_by VARCHAR);');
INSERT INTO pricing.layouts VALUES ('records', 'CREATE TABLE records(record_id VARCHAR, "source" VARCHAR, source_ref VARCHAR, batch_id VARCHAR, make VARCHAR, model VARCHAR, variant VARCHAR, "year" SMALLINT, chassis_number VARCHAR, body_style VARCHAR, drive_side VARCHAR, condition_band VARCHAR, condition_score DOUBLE, odometer_km DOUBLE, "options" VARCHAR[], matching_numbers VARCHAR, history_file BOOLEAN, channel VARCHAR, country VARCHAR, outcome VARCHAR, event_date DATE, amount DECIMAL(18,3), currency VARCHAR, price_basis VARCHAR, premium DECIMAL(18,3), low_estimate DECIMAL(18,3), high_estimate DECIMAL(18,3), reserve DECIMAL(18,3), highest_bid DECIMAL(18,3), listed_on DATE, notes VARCHAR, price DECIMAL(18,2), lower_price DECIMAL(18,2), upper_price DECIMAL(18,2), rate_date DATE, file VARCHAR, row_number BIGINT, chassis_key VARCHAR, model_key VARCHAR, front_id VARCHAR);');
INSERT INTO pricing.layouts VALUES ('suspicions', 'CREATE TABLE suspicions(record_id VARCHAR, reason VARCHAR, detail VARCHAR, found_at TIMESTAMP, verdict VARCHAR, settled_at TIMESTAMP);');
INSERT INTO pricing.version VALUES (1);
ALTER TABLE ONLY pricing.entries
    ADD CONSTRAINT entries_pkey PRIMARY KEY (number);
ALTER TABLE ONLY pricing.layouts
    ADD CONSTRAINT layouts_pkey PRIMARY KEY (name);
CREATE INDEX aliases_came ON market.aliases USING brin (since_entry);
CREATE INDEX aliases_stands ON market.aliases USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX aliases_went ON market.aliases USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX audit_came ON market.audit USING brin (since_entry);
CREATE INDEX audit_stands ON market.audit USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX audit_went ON market.audit USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX batches_came ON market.batches USING brin (since_entry);
CREATE INDEX batches_stands ON market.batches USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX batches_went ON market.batches USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX charges_came ON market.charges USING brin (since_entry);
CREATE INDEX charges_stands ON market.charges USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX charges_went ON market.charges USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX corrections_came ON market.corrections USING brin (since_entry);
CREATE INDEX corrections_stands ON market.corrections USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX corrections_went ON market.corrections USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX fits_came ON market.fits USING brin (since_entry);
CREATE INDEX fits_stands ON market.fits USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX fits_went ON market.fits USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX links_came ON market.links USING brin (since_entry);
CREATE INDEX links_stands ON market.links USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX links_went ON market.links USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX mappings_came ON market.mappings USING brin (since_entry);
CREATE INDEX mappings_stands ON market.mappings USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX mappings_went ON market.mappings USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX market_came ON market.market USING brin (since_entry);
CREATE INDEX market_stands ON market.market USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX market_went ON market.market USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX own_rates_came ON market.own_rates USING brin (since_entry);
CREATE INDEX own_rates_stands ON market.own_rates USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX own_rates_went ON market.own_rates USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX quarantine_came ON market.quarantine USING brin (since_entry);
CREATE INDEX quarantine_stands ON market.quarantine USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX quarantine_went ON market.quarantine USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX records_came ON market.records USING brin (since_entry);
CREATE INDEX records_stands ON market.records USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX records_went ON market.records USING btree (until_entry) WHERE (until_entry IS NOT NULL);
CREATE INDEX suspicions_came ON market.suspicions USING brin (since_entry);
CREATE INDEX suspicions_stands ON market.suspicions USING btree (row_digest) WHERE (until_entry IS NULL);
CREATE INDEX suspicions_went ON market.suspicions USING btree (until_entry) WHERE (until_entry IS NOT NULL);
