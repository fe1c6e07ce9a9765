-- A quote has revisions, is sent and accepted, and keeps what it was worked out
-- from. The table quote holds the newest revision, as before; those that another
-- one followed stand in quote_version.

-- +goose Up
ALTER TABLE quote
    ADD COLUMN revision      integer NOT NULL DEFAULT 1 CONSTRAINT quote_revision_positive CHECK (revision >= 1),
    ADD COLUMN made_date     date,    -- the day that the newest revision is of; NULL: that of created_at
    ADD COLUMN sent_revision integer NOT NULL DEFAULT 0, -- sent last; 0: none
    ADD COLUMN sent_date     date,    -- of the newest revision
    ADD COLUMN accepted_date date,
    ADD COLUMN accepted_mg   bigint NOT NULL DEFAULT 0,
    ADD COLUMN accepted_due  date,
    ADD COLUMN accepted_batch text COLLATE "C" CONSTRAINT quote_accepted_batch_fkey REFERENCES batch;
ALTER TABLE quote ADD CONSTRAINT quote_state_known CHECK (state IN ('draft', 'sent', 'accepted'));
ALTER TABLE quote ADD CONSTRAINT quote_sent_revision_there CHECK (sent_revision BETWEEN 0 AND revision);
ALTER TABLE quote ADD CONSTRAINT quote_sent_is_newest CHECK (state <> 'sent' OR sent_revision = revision);
ALTER TABLE quote ADD CONSTRAINT quote_accepted_whole CHECK ((state = 'accepted') = (accepted_date IS NOT NULL)
    AND (state <> 'accepted' OR (sent_revision > 0 AND accepted_mg > 0 AND accepted_batch IS NOT NULL)));

CREATE TABLE quote_version (
    quote       text COLLATE "C" NOT NULL CONSTRAINT quote_version_quote_fkey REFERENCES quote,
    revision    integer NOT NULL,
    formula     text COLLATE "C" NOT NULL,
    valid_until date,
    body        json NOT NULL,
    made_date   date,
    sent_date   date,
    CONSTRAINT quote_version_pkey PRIMARY KEY (quote, revision)
);

-- What a revision was worked out from, so that it can be worked out again.
CREATE TABLE quote_inputs (
    quote    text COLLATE "C" NOT NULL CONSTRAINT quote_inputs_quote_fkey REFERENCES quote,
    revision integer NOT NULL,
    inputs   json NOT NULL,
    CONSTRAINT quote_inputs_pkey PRIMARY KEY (quote, revision)
);

-- +goose StatementBegin
-- quote_keep files the revision that another one follows, and refuses to change
-- what a revision says or anything of an accepted quote.
CREATE FUNCTION quote_keep() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.state = 'accepted' THEN
        PERFORM broken('quote_accepted_fixed', format('quotes/%s is accepted and can''t be changed: make a new quote', OLD.id));
    ELSIF NEW.customer <> OLD.customer OR NEW.sent_revision < OLD.sent_revision THEN
        PERFORM broken('quote_revision_fixed', format('the customer of quotes/%s, and that it was sent, can''t be changed: make a new quote', OLD.id));
    ELSIF NEW.revision = OLD.revision + 1 THEN
        INSERT INTO quote_version (quote, revision, formula, valid_until, body, made_date, sent_date)
        VALUES (OLD.id, OLD.revision, OLD.formula, OLD.valid_until, OLD.body, OLD.made_date, OLD.sent_date);
    ELSIF NEW.revision <> OLD.revision THEN
        PERFORM broken('quote_revision_next', format('quotes/%s is at revision %s: the next one is %s', OLD.id, OLD.revision, OLD.revision + 1));
    ELSIF (NEW.formula, NEW.valid_until, NEW.body::text, NEW.made_date) IS DISTINCT FROM (OLD.formula, OLD.valid_until, OLD.body::text, OLD.made_date) THEN
        PERFORM broken('quote_revision_fixed', format('what quotes/%s@%s says can''t be changed: make its next revision', OLD.id, OLD.revision));
    END IF;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER quote_keep BEFORE UPDATE ON quote FOR EACH ROW EXECUTE FUNCTION quote_keep();
CREATE TRIGGER quote_kept BEFORE DELETE OR TRUNCATE ON quote EXECUTE FUNCTION refuse('quote_kept');
CREATE TRIGGER quote_version_fixed BEFORE UPDATE OR DELETE OR TRUNCATE ON quote_version EXECUTE FUNCTION refuse('quote_revision_fixed');
CREATE TRIGGER quote_inputs_fixed BEFORE UPDATE OR DELETE OR TRUNCATE ON quote_inputs EXECUTE FUNCTION refuse('quote_revision_fixed');

-- Every revision of every quote. One that another followed is replaced, but for
-- the one that was sent last.
CREATE VIEW quote_revision AS
    SELECT id, customer, formula, state, valid_until, body, revision, made_date, sent_revision, sent_date,
           accepted_date, accepted_mg, accepted_due, accepted_batch, version, created_at, updated_at
    FROM quote
    UNION ALL
    SELECT q.id, q.customer, v.formula, CASE WHEN v.revision <> q.sent_revision THEN 'replaced' WHEN q.state = 'draft' THEN 'sent' ELSE q.state END,
           v.valid_until, v.body, v.revision, v.made_date, q.sent_revision, v.sent_date,
           q.accepted_date, q.accepted_mg, q.accepted_due, q.accepted_batch, q.version, q.created_at, q.updated_at
    FROM quote_version v JOIN quote q ON q.id = v.quote;

-- +goose Down
DROP VIEW quote_revision;
DROP TABLE quote_inputs, quote_version;
DROP TRIGGER quote_kept ON quote;
DROP TRIGGER quote_keep ON quote;
DROP FUNCTION quote_keep;
ALTER TABLE quote DROP CONSTRAINT quote_accepted_whole, DROP CONSTRAINT quote_sent_is_newest,
    DROP CONSTRAINT quote_sent_revision_there, DROP CONSTRAINT quote_state_known;
ALTER TABLE quote DROP COLUMN accepted_batch, DROP COLUMN accepted_due, DROP COLUMN accepted_mg, DROP COLUMN accepted_date,
    DROP COLUMN sent_date, DROP COLUMN sent_revision, DROP COLUMN made_date, DROP COLUMN revision;
