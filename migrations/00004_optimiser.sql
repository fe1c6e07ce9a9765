-- What the deeper optimiser needs: the plant's scales, and how far values of lots
-- and materials may be off (standard deviations by property key).

-- +goose Up
ALTER TABLE plant ADD COLUMN scales jsonb NOT NULL DEFAULT '[]';
ALTER TABLE lot ADD COLUMN deviations jsonb NOT NULL DEFAULT '{}';
ALTER TABLE material ADD COLUMN deviations jsonb NOT NULL DEFAULT '{}';

-- +goose Down
ALTER TABLE material DROP COLUMN deviations;
ALTER TABLE lot DROP COLUMN deviations;
ALTER TABLE plant DROP COLUMN scales;
