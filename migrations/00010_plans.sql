-- +goose Up

-- A joint plan as it was made, with a digest of everything that it rests on.
CREATE TABLE plan (
    id         text PRIMARY KEY,
    state      text NOT NULL,
    made_date  date NOT NULL,
    body       jsonb NOT NULL,
    rests_on   jsonb NOT NULL,
    acceptance jsonb,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    CONSTRAINT plan_state_known CHECK (state IN ('proposed', 'accepted')),
    CONSTRAINT plan_accepted_whole CHECK ((state = 'accepted') = (acceptance IS NOT NULL))
);
CREATE INDEX plan_made ON plan (made_date);

-- What a plan says stays as it was made, and an accepted one stays accepted.
-- +goose StatementBegin
CREATE FUNCTION plan_keep() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (NEW.id, NEW.made_date, NEW.body::text, NEW.rests_on::text) IS DISTINCT FROM (OLD.id, OLD.made_date, OLD.body::text, OLD.rests_on::text) THEN
        PERFORM broken('plan_fixed', format('what plans/%s says can''t be changed: make the plan anew', OLD.id));
    ELSIF OLD.state = 'accepted' THEN
        PERFORM broken('plan_accepted_fixed', format('plans/%s is accepted already', OLD.id));
    END IF;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER plan_keep BEFORE UPDATE ON plan FOR EACH ROW EXECUTE FUNCTION plan_keep();
CREATE TRIGGER plan_kept BEFORE DELETE OR TRUNCATE ON plan EXECUTE FUNCTION refuse('plan_kept');

-- +goose Down
DROP TABLE plan;
DROP FUNCTION plan_keep;
