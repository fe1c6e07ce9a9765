-- How purchasing orders a material, what a delivery may differ by, what offers
-- cost over time and what they are expected to cost.

-- +goose Up
ALTER TABLE material
    ADD COLUMN lot_rule         text NOT NULL DEFAULT '' CONSTRAINT material_lot_rule_known CHECK (lot_rule IN ('', 'lot_for_lot', 'fixed_lot', 'period_lots')),
    ADD COLUMN fixed_lot_mg     bigint NOT NULL DEFAULT 0 CONSTRAINT material_fixed_lot_not_negative CHECK (fixed_lot_mg >= 0),
    ADD COLUMN lot_period_days  integer NOT NULL DEFAULT 0 CONSTRAINT material_lot_period_not_negative CHECK (lot_period_days >= 0),
    ADD COLUMN lead_time_days   integer NOT NULL DEFAULT 0 CONSTRAINT material_lead_time_not_negative CHECK (lead_time_days >= 0),
    ADD COLUMN safety_time_days integer NOT NULL DEFAULT 0 CONSTRAINT material_safety_time_not_negative CHECK (safety_time_days >= 0),
    ADD COLUMN fence_days       integer NOT NULL DEFAULT 0 CONSTRAINT material_fence_not_negative CHECK (fence_days >= 0);

ALTER TABLE plant
    ADD COLUMN over_delivery_percent  numeric NOT NULL DEFAULT 10 CONSTRAINT plant_over_delivery_not_negative CHECK (over_delivery_percent >= 0),
    ADD COLUMN under_delivery_percent numeric NOT NULL DEFAULT 0 CONSTRAINT plant_under_delivery_in_bounds CHECK (under_delivery_percent BETWEEN 0 AND 100);

ALTER TABLE purchase_order ADD COLUMN sent_date date; -- NULL: a draft, or sent before it was kept

-- Every price that an offer had, from the moment on that it was entered.
CREATE TABLE offer_price (
    offer          text COLLATE "C" NOT NULL CONSTRAINT offer_price_offer_fkey REFERENCES offer,
    version        bigint NOT NULL, -- of the offer
    entered_at     timestamptz NOT NULL,
    material       text COLLATE "C" NOT NULL,
    currency       text NOT NULL,
    breaks         jsonb NOT NULL,
    freight_per_kg numeric NOT NULL,
    duty_percent   numeric NOT NULL,
    valid_from     date,
    valid_until    date,
    CONSTRAINT offer_price_pkey PRIMARY KEY (offer, version)
);
CREATE INDEX offer_price_material ON offer_price (material);
INSERT INTO offer_price SELECT id, version, updated_at, material, currency, breaks, freight_per_kg, duty_percent, valid_from, valid_until FROM offer;

-- +goose StatementBegin
CREATE FUNCTION offer_price_keep() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO offer_price (offer, version, entered_at, material, currency, breaks, freight_per_kg, duty_percent, valid_from, valid_until)
    VALUES (NEW.id, NEW.version, NEW.updated_at, NEW.material, NEW.currency, NEW.breaks, NEW.freight_per_kg, NEW.duty_percent, NEW.valid_from, NEW.valid_until);
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER offer_price_first AFTER INSERT ON offer FOR EACH ROW EXECUTE FUNCTION offer_price_keep();
CREATE TRIGGER offer_price_next AFTER UPDATE ON offer FOR EACH ROW
    WHEN ((NEW.material, NEW.currency, NEW.breaks, NEW.freight_per_kg, NEW.duty_percent, NEW.valid_from, NEW.valid_until)
        IS DISTINCT FROM (OLD.material, OLD.currency, OLD.breaks, OLD.freight_per_kg, OLD.duty_percent, OLD.valid_from, OLD.valid_until))
    EXECUTE FUNCTION offer_price_keep();
CREATE TRIGGER offer_price_fixed BEFORE UPDATE OR DELETE OR TRUNCATE ON offer_price EXECUTE FUNCTION refuse('offer_price_fixed');

-- What an offer is expected to cost, week by week; the id is that of the offer.
CREATE TABLE price_outlook (
    id         text COLLATE "C" CONSTRAINT price_outlook_pkey PRIMARY KEY CONSTRAINT price_outlook_offer_fkey REFERENCES offer,
    currency   text NOT NULL,
    weeks      jsonb NOT NULL,
    note       text NOT NULL,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at timestamptz NOT NULL DEFAULT clock_timestamp()
);

-- +goose Down
DROP TABLE price_outlook;
DROP TRIGGER offer_price_next ON offer;
DROP TRIGGER offer_price_first ON offer;
DROP TABLE offer_price;
DROP FUNCTION offer_price_keep;
ALTER TABLE purchase_order DROP COLUMN sent_date;
ALTER TABLE plant DROP COLUMN under_delivery_percent, DROP COLUMN over_delivery_percent;
ALTER TABLE material DROP COLUMN fence_days, DROP COLUMN safety_time_days, DROP COLUMN lead_time_days, DROP COLUMN lot_period_days,
    DROP COLUMN fixed_lot_mg, DROP COLUMN lot_rule;
