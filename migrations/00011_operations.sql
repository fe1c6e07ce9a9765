-- Long work off the request: what was asked for, how far it is, and what came of
-- it. Which server does it when is the job queue's business, in a schema of its
-- own (postgres.Migrate); the job carries the operation's id and nothing else.

-- +goose Up
CREATE TABLE operation (
    id            text COLLATE "C" CONSTRAINT operation_pkey PRIMARY KEY,
    kind          text NOT NULL,
    request       bytea NOT NULL,
    caller        text NOT NULL, -- the id of the API key
    role          text NOT NULL, -- of the caller
    state         text NOT NULL CONSTRAINT operation_state_known CHECK (state IN ('queued', 'running', 'succeeded', 'failed', 'cancelled')),
    fraction      double precision NOT NULL DEFAULT 0 CONSTRAINT operation_fraction_share CHECK (fraction BETWEEN 0 AND 1),
    words         text NOT NULL DEFAULT '',
    cancel_wanted boolean NOT NULL DEFAULT false,
    attempt       integer NOT NULL DEFAULT 0, -- grows each time that a server takes it; who writes must name it
    losses        integer NOT NULL DEFAULT 0, -- how often it has to be begun again for a fault
    worker        text NOT NULL DEFAULT '',   -- the server that has it
    lease_until   timestamptz,                -- another server may take it after this
    job           bigint,                     -- in the queue
    result        bytea,
    failure       bytea,
    started_at    timestamptz,
    ended_at      timestamptz,
    version       bigint NOT NULL DEFAULT 1,
    created_at    timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at    timestamptz NOT NULL DEFAULT clock_timestamp(),
    CONSTRAINT operation_ended_whole CHECK ((state IN ('succeeded', 'failed', 'cancelled')) = (ended_at IS NOT NULL)
        AND (state = 'succeeded') = (result IS NOT NULL) AND (state IN ('failed', 'cancelled')) = (failure IS NOT NULL)),
    CONSTRAINT operation_leased CHECK ((state = 'running') = (lease_until IS NOT NULL))
);
CREATE INDEX operation_open ON operation (state) WHERE state IN ('queued', 'running');
CREATE INDEX operation_ended_at ON operation (ended_at) WHERE ended_at IS NOT NULL;

-- +goose StatementBegin
-- operation_fixed keeps what has ended as it is, and what has not from being
-- deleted: one operation has one result, whoever writes.
CREATE FUNCTION operation_fixed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' THEN
        IF OLD.ended_at IS NULL THEN
            PERFORM broken('operation_not_ended', format('operations/%s has not ended: cancel it first', OLD.id));
        END IF;
        RETURN OLD;
    ELSIF OLD.ended_at IS NOT NULL THEN
        PERFORM broken('operation_ended', format('operations/%s has ended and can''t be changed', OLD.id));
    ELSIF (NEW.kind, NEW.request, NEW.caller, NEW.role) IS DISTINCT FROM (OLD.kind, OLD.request, OLD.caller, OLD.role) OR NEW.attempt < OLD.attempt THEN
        PERFORM broken('operation_ended', format('what was asked for by operations/%s can''t be changed', OLD.id));
    END IF;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER operation_fixed BEFORE UPDATE OR DELETE ON operation FOR EACH ROW EXECUTE FUNCTION operation_fixed();

-- +goose Down
DROP TABLE operation;
DROP FUNCTION operation_fixed;
