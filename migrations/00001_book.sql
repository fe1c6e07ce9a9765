-- The book: what the plant knows, buys, makes and promises.

-- +goose Up
CREATE TABLE property (
    id         text COLLATE "C" CONSTRAINT property_pkey PRIMARY KEY,
    title      text NOT NULL,
    unit       text NOT NULL,
    qualified  boolean NOT NULL,
    blend_index text NOT NULL,
    basis      text NOT NULL,
    scale      double precision NOT NULL,
    index_offset double precision NOT NULL,
    exponent   double precision NOT NULL,
    default_value double precision,
    min_value  double precision NOT NULL,
    max_value  double precision NOT NULL,
    built_in   boolean NOT NULL,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at timestamptz NOT NULL DEFAULT clock_timestamp()
);

CREATE TABLE material (
    id              text COLLATE "C" CONSTRAINT material_pkey PRIMARY KEY,
    title           text NOT NULL,
    class           text NOT NULL,
    properties      jsonb NOT NULL,
    colour_index    text NOT NULL,
    shelf_life_days integer NOT NULL CONSTRAINT material_shelf_life_not_negative CHECK (shelf_life_days >= 0),
    safety_stock_mg bigint NOT NULL CONSTRAINT material_safety_stock_not_negative CHECK (safety_stock_mg >= 0),
    cautions        jsonb NOT NULL,
    standard_cost_per_kg numeric NOT NULL DEFAULT 0,
    archived        boolean NOT NULL,
    version         bigint NOT NULL DEFAULT 1,
    created_at      timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at      timestamptz NOT NULL DEFAULT clock_timestamp(),
    CONSTRAINT material_class_known CHECK (class IN ('pigment', 'varnish', 'oil', 'drier', 'wax', 'additive', 'base_ink', 'work_off', 'ink', 'packaging'))
);
CREATE INDEX material_class ON material (class);

CREATE TABLE supplier (
    id             text COLLATE "C" CONSTRAINT supplier_pkey PRIMARY KEY,
    title          text NOT NULL,
    currency       text NOT NULL,
    lead_time_days integer NOT NULL CONSTRAINT supplier_lead_time_not_negative CHECK (lead_time_days >= 0),
    contact        text NOT NULL,
    archived       boolean NOT NULL,
    version        bigint NOT NULL DEFAULT 1,
    created_at     timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at     timestamptz NOT NULL DEFAULT clock_timestamp()
);

CREATE TABLE offer (
    id               text COLLATE "C" CONSTRAINT offer_pkey PRIMARY KEY, -- "supplier/offer"
    supplier         text COLLATE "C" NOT NULL CONSTRAINT offer_supplier_fkey REFERENCES supplier,
    offer            text COLLATE "C" NOT NULL,
    material         text COLLATE "C" NOT NULL CONSTRAINT offer_material_fkey REFERENCES material,
    currency         text NOT NULL,
    breaks           jsonb NOT NULL,
    pack_size_mg     bigint NOT NULL CONSTRAINT offer_pack_size_not_negative CHECK (pack_size_mg >= 0),
    minimum_order_mg bigint NOT NULL CONSTRAINT offer_minimum_order_not_negative CHECK (minimum_order_mg >= 0),
    lead_time_days   integer NOT NULL CONSTRAINT offer_lead_time_not_negative CHECK (lead_time_days >= 0),
    freight_per_kg   numeric NOT NULL,
    duty_percent     numeric NOT NULL,
    valid_from       date,
    valid_until      date,
    version          bigint NOT NULL DEFAULT 1,
    created_at       timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at       timestamptz NOT NULL DEFAULT clock_timestamp(),
    CONSTRAINT offer_id_is_supplier_and_offer CHECK (id = supplier || '/' || offer)
);
CREATE INDEX offer_material ON offer (material);

CREATE TABLE lot (
    id             text COLLATE "C" CONSTRAINT lot_pkey PRIMARY KEY,
    material       text COLLATE "C" NOT NULL CONSTRAINT lot_material_fkey REFERENCES material,
    supplier_lot   text NOT NULL,
    supplier       text COLLATE "C" CONSTRAINT lot_supplier_fkey REFERENCES supplier,
    status         text NOT NULL CONSTRAINT lot_status_known CHECK (status IN ('quarantined', 'released', 'held', 'rejected')),
    certificate    jsonb NOT NULL,
    received_date  date,
    expiry_date    date,
    batch          text COLLATE "C" NOT NULL,
    note           text NOT NULL,
    cost_per_kg    numeric NOT NULL,
    price_per_kg   numeric NOT NULL,
    price_currency text NOT NULL,
    freight_per_kg numeric NOT NULL,
    duty_percent   numeric NOT NULL,
    exchange_rate  numeric NOT NULL,
    rate_date      date,
    version        bigint NOT NULL DEFAULT 1,
    created_at     timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at     timestamptz NOT NULL DEFAULT clock_timestamp()
);
CREATE INDEX lot_material ON lot (material);
CREATE INDEX lot_batch ON lot (batch) WHERE batch <> '';

CREATE TABLE specification (
    id         text COLLATE "C" CONSTRAINT specification_pkey PRIMARY KEY,
    title      text NOT NULL,
    material   text COLLATE "C" CONSTRAINT specification_material_fkey REFERENCES material,
    limits     jsonb NOT NULL,
    note       text NOT NULL,
    archived   boolean NOT NULL,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at timestamptz NOT NULL DEFAULT clock_timestamp()
);
CREATE INDEX specification_material ON specification (material);

-- A formula is its revisions; this row hands out their numbers.
CREATE TABLE formula (
    id     text COLLATE "C" CONSTRAINT formula_pkey PRIMARY KEY,
    newest integer NOT NULL CONSTRAINT formula_newest_positive CHECK (newest >= 1)
);

CREATE TABLE formula_revision (
    formula       text COLLATE "C" NOT NULL CONSTRAINT formula_revision_formula_fkey REFERENCES formula,
    revision      integer NOT NULL,
    title         text NOT NULL,
    material      text COLLATE "C" CONSTRAINT formula_revision_material_fkey REFERENCES material,
    specification text COLLATE "C" CONSTRAINT formula_revision_specification_fkey REFERENCES specification,
    ingredients   jsonb NOT NULL,
    route         jsonb NOT NULL,
    yield_ppm     bigint NOT NULL,
    released      boolean NOT NULL,
    note          text NOT NULL,
    version       bigint NOT NULL DEFAULT 1,
    created_at    timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at    timestamptz NOT NULL DEFAULT clock_timestamp(),
    CONSTRAINT formula_revision_pkey PRIMARY KEY (formula, revision)
);
CREATE INDEX formula_revision_material ON formula_revision (material);

CREATE TABLE batch (
    id               text COLLATE "C" CONSTRAINT batch_pkey PRIMARY KEY,
    formula          text COLLATE "C",
    formula_revision integer,
    specification    text COLLATE "C" CONSTRAINT batch_specification_fkey REFERENCES specification,
    material         text COLLATE "C" NOT NULL CONSTRAINT batch_material_fkey REFERENCES material,
    quantity_mg      bigint NOT NULL CONSTRAINT batch_quantity_positive CHECK (quantity_mg > 0),
    due_date         date,
    state            text NOT NULL CONSTRAINT batch_state_known CHECK (state IN ('planned', 'reserved', 'finished', 'cancelled')),
    lines            jsonb NOT NULL,
    finished_lot     text COLLATE "C" CONSTRAINT batch_finished_lot_fkey REFERENCES lot,
    finished_mg      bigint NOT NULL CONSTRAINT batch_finished_not_negative CHECK (finished_mg >= 0),
    finished_at      timestamptz,
    properties       jsonb NOT NULL,
    note             text NOT NULL,
    version          bigint NOT NULL DEFAULT 1,
    created_at       timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at       timestamptz NOT NULL DEFAULT clock_timestamp(),
    CONSTRAINT batch_formula_fkey FOREIGN KEY (formula, formula_revision) REFERENCES formula_revision
);
CREATE INDEX batch_due ON batch (state, due_date);

CREATE TABLE purchase_order (
    id         text COLLATE "C" CONSTRAINT purchase_order_pkey PRIMARY KEY,
    supplier   text COLLATE "C" NOT NULL CONSTRAINT purchase_order_supplier_fkey REFERENCES supplier,
    currency   text NOT NULL,
    state      text NOT NULL CONSTRAINT purchase_order_state_known CHECK (state IN ('draft', 'sent', 'part_received', 'received', 'cancelled')),
    lines      jsonb NOT NULL,
    note       text NOT NULL,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at timestamptz NOT NULL DEFAULT clock_timestamp()
);
CREATE INDEX purchase_order_state ON purchase_order (state);

CREATE TABLE quote (
    id          text COLLATE "C" CONSTRAINT quote_pkey PRIMARY KEY,
    customer    text NOT NULL,
    formula     text COLLATE "C" NOT NULL, -- "id@revision"
    state       text NOT NULL,
    valid_until date,
    body        json NOT NULL, -- json, not jsonb: kept to the letter
    version     bigint NOT NULL DEFAULT 1,
    created_at  timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at  timestamptz NOT NULL DEFAULT clock_timestamp()
);
CREATE INDEX quote_customer ON quote (customer);

-- The plant's own figures: one row.
CREATE TABLE plant (
    id                     text COLLATE "C" CONSTRAINT plant_pkey PRIMARY KEY CONSTRAINT plant_is_one CHECK (id = 'plant'),
    title                  text NOT NULL,
    currency               text NOT NULL,
    time_zone              text NOT NULL,
    water_density_kg_per_l double precision NOT NULL,
    scale_division_mg      bigint NOT NULL CONSTRAINT plant_scale_division_not_negative CHECK (scale_division_mg >= 0),
    overhead_percent       numeric NOT NULL,
    margin_percent         numeric NOT NULL,
    laboratory_charge      numeric NOT NULL,
    quality_release_days   integer NOT NULL CONSTRAINT plant_release_days_not_negative CHECK (quality_release_days >= 0),
    shifts                 jsonb NOT NULL,
    holidays               jsonb NOT NULL,
    machines               jsonb NOT NULL,
    rates                  jsonb NOT NULL,
    packs                  jsonb NOT NULL,
    version                bigint NOT NULL DEFAULT 1,
    created_at             timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at             timestamptz NOT NULL DEFAULT clock_timestamp()
);

CREATE TABLE api_key (
    id         text COLLATE "C" CONSTRAINT api_key_pkey PRIMARY KEY,
    title      text NOT NULL,
    role       text NOT NULL,
    digest     bytea NOT NULL CONSTRAINT api_key_digest_key UNIQUE,
    revoked    boolean NOT NULL,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at timestamptz NOT NULL DEFAULT clock_timestamp()
);

-- Request ids of callers (AIP-155), with what they were answered.
CREATE TABLE request (
    id         text COLLATE "C" CONSTRAINT request_pkey PRIMARY KEY,
    method     text NOT NULL,
    digest     bytea NOT NULL,
    resource   text NOT NULL,
    created_at timestamptz NOT NULL DEFAULT clock_timestamp()
);
CREATE INDEX request_age ON request (created_at);

-- +goose Down
DROP TABLE request, api_key, plant, quote, purchase_order, batch, formula_revision, formula,
    specification, lot, offer, supplier, material, property;
