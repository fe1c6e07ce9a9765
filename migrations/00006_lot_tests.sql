-- What quality control measured on lots. A test is never changed, only withdrawn;
-- the values that count stand with the lot.

-- +goose Up
ALTER TABLE lot ADD COLUMN tested jsonb NOT NULL DEFAULT '{}';

CREATE TABLE lot_test (
    id          text COLLATE "C" CONSTRAINT lot_test_pkey PRIMARY KEY, -- "lot/test"
    lot         text COLLATE "C" NOT NULL CONSTRAINT lot_test_lot_fkey REFERENCES lot,
    test        text COLLATE "C" NOT NULL,
    values      jsonb NOT NULL,
    method      text NOT NULL,
    note        text NOT NULL,
    test_date   date NOT NULL,
    tester      text NOT NULL,
    bleach      jsonb NOT NULL, -- null but for a bleach test
    withdrawn   boolean NOT NULL,
    reason      text NOT NULL,
    version     bigint NOT NULL DEFAULT 1,
    created_at  timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at  timestamptz NOT NULL DEFAULT clock_timestamp()
);
CREATE INDEX lot_test_lot ON lot_test (lot);

-- +goose StatementBegin
CREATE FUNCTION lot_test_keep() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.withdrawn OR NOT NEW.withdrawn
        OR (NEW.id, NEW.lot, NEW.test, NEW.values, NEW.method, NEW.note, NEW.test_date, NEW.tester, NEW.bleach, NEW.created_at)
            IS DISTINCT FROM (OLD.id, OLD.lot, OLD.test, OLD.values, OLD.method, OLD.note, OLD.test_date, OLD.tester, OLD.bleach, OLD.created_at) THEN
        PERFORM broken('lot_test_fixed', format('test %s can''t be changed: withdraw it, and record it anew', OLD.id));
    END IF;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER lot_test_keep BEFORE UPDATE ON lot_test FOR EACH ROW EXECUTE FUNCTION lot_test_keep();
CREATE TRIGGER lot_test_kept BEFORE DELETE OR TRUNCATE ON lot_test EXECUTE FUNCTION refuse('lot_test_fixed');

-- +goose Down
DROP TABLE lot_test;
DROP FUNCTION lot_test_keep;
ALTER TABLE lot DROP COLUMN tested;
