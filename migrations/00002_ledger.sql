-- The stock ledger: its tables. The rules follow in the next migration.

-- +goose Up
CREATE TABLE movement (
    id          uuid CONSTRAINT movement_pkey PRIMARY KEY,
    kind        text NOT NULL,
    reverses    uuid CONSTRAINT movement_reverses_fkey REFERENCES movement,
    batch       text COLLATE "C" NOT NULL DEFAULT '',
    note        text NOT NULL DEFAULT '',
    actor       text NOT NULL DEFAULT '',
    digest      bytea NOT NULL, -- of the content, to tell a replay from a reused id
    posted_at   timestamptz NOT NULL DEFAULT clock_timestamp(),
    entry_count integer NOT NULL,
    use_count   integer NOT NULL DEFAULT 0
);
CREATE UNIQUE INDEX movement_reversed_once ON movement (reverses) WHERE reverses IS NOT NULL;
CREATE INDEX movement_posted ON movement (posted_at, id);
CREATE INDEX movement_batch ON movement (batch) WHERE batch <> '';

-- What a movement and its entries must look like is checked set by set in
-- movement_check and entry_post, under constraint names: a foreign key would be
-- looked up row by row, and CHECKs are read anew for every statement (together
-- they took a tenth of the time of a posting).
CREATE TABLE entry (
    movement_id uuid NOT NULL,
    line        integer NOT NULL,
    account     text NOT NULL,
    location    text COLLATE "C" NOT NULL,
    party       text COLLATE "C" NOT NULL,
    lot         text COLLATE "C" NOT NULL,
    quantity_mg bigint NOT NULL,
    CONSTRAINT entry_pkey PRIMARY KEY (movement_id, line)
);
CREATE INDEX entry_lot ON entry (lot) WHERE account = 'stock'; -- every movement touches stock

-- What is on hand of a lot at a location, kept by the triggers below.
CREATE TABLE balance (
    lot         text COLLATE "C" NOT NULL CONSTRAINT balance_lot_fkey REFERENCES lot,
    location    text COLLATE "C" NOT NULL,
    on_hand_mg  bigint NOT NULL CONSTRAINT balance_on_hand_not_negative CHECK (on_hand_mg >= 0),
    reserved_mg bigint NOT NULL CONSTRAINT balance_reserved_not_negative CHECK (reserved_mg >= 0),
    CONSTRAINT balance_pkey PRIMARY KEY (lot, location),
    CONSTRAINT balance_reserved_within_on_hand CHECK (reserved_mg <= on_hand_mg)
) WITH (fillfactor = 50); -- room for updates in place

CREATE TABLE reservation (
    id           uuid CONSTRAINT reservation_pkey PRIMARY KEY,
    lot          text COLLATE "C" NOT NULL,
    location     text COLLATE "C" NOT NULL,
    quantity_mg  bigint NOT NULL CONSTRAINT reservation_quantity_positive CHECK
        (quantity_mg BETWEEN 1 AND 1000000000000000),
    remaining_mg bigint NOT NULL,
    batch        text COLLATE "C" NOT NULL DEFAULT '',
    note         text NOT NULL DEFAULT '',
    actor        text NOT NULL DEFAULT '',
    digest       bytea NOT NULL,
    created_at   timestamptz NOT NULL DEFAULT clock_timestamp(),
    CONSTRAINT reservation_remaining_within_quantity CHECK (remaining_mg BETWEEN 0 AND quantity_mg)
) WITH (fillfactor = 80);
CREATE INDEX reservation_open ON reservation (lot, location) WHERE remaining_mg > 0;
CREATE INDEX reservation_batch ON reservation (batch) WHERE batch <> '';

-- How much of which reservation a movement used up.
CREATE TABLE reservation_use (
    movement_id uuid NOT NULL,
    line        integer NOT NULL,
    reservation uuid NOT NULL CONSTRAINT reservation_use_reservation_fkey REFERENCES reservation,
    quantity_mg bigint NOT NULL CONSTRAINT reservation_use_quantity_positive CHECK (quantity_mg > 0),
    CONSTRAINT reservation_use_pkey PRIMARY KEY (movement_id, line)
);
CREATE INDEX reservation_use_reservation ON reservation_use (reservation);

-- +goose Down
DROP TABLE reservation_use, reservation, balance, entry, movement;
