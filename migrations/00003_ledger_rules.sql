-- The rules of the stock ledger, in functions and triggers. See the package
-- comment for what they make impossible.

-- +goose Up
-- +goose StatementBegin
-- refuse is the body of every trigger that forbids: its argument is the name of
-- the rule.
CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% of % is refused', TG_OP, TG_TABLE_NAME
        USING ERRCODE = '23514', CONSTRAINT = TG_ARGV[0], TABLE = TG_TABLE_NAME;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
-- broken raises a broken rule by its name. The message is a sentence for people.
CREATE FUNCTION broken(rule text, sentence text) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%', sentence USING ERRCODE = '23514', CONSTRAINT = rule;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
-- plant_today is the calendar day at the plant.
CREATE FUNCTION plant_today() RETURNS date LANGUAGE sql STABLE AS $$
    SELECT (clock_timestamp() AT TIME ZONE coalesce((SELECT nullif(time_zone, '') FROM plant), 'UTC'))::date
$$;
-- +goose StatementEnd

-- The functions below switch off all but index lookups: the plans of a session
-- may date from when the tables were empty.

-- +goose StatementBegin
-- movement_check looks at movements as they are inserted, with their entries.
CREATE FUNCTION movement_check() RETURNS trigger LANGUAGE plpgsql
SET enable_seqscan = off SET enable_hashjoin = off SET enable_mergejoin = off AS $$
DECLARE
    m        record;
    wrong    boolean;
    reversed boolean;
BEGIN
    SELECT bool_or(e.entries <> n.entry_count OR e.last <> n.entry_count OR e.total <> 0
               OR n.posted_at < transaction_timestamp() OR n.posted_at > clock_timestamp()
               OR n.entry_count < 1 OR n.use_count < 0 OR (n.kind = 'reversal') <> (n.reverses IS NOT NULL)
               OR n.kind NOT IN ('receipt', 'issue', 'production', 'adjustment', 'transfer', 'return', 'scrap', 'reversal')
               OR n.use_count > 0 AND n.use_count <> (SELECT count(*) FROM reservation_use WHERE movement_id = n.id)),
           bool_or(n.reverses IS NOT NULL) INTO wrong, reversed
    FROM new_movement n
    CROSS JOIN LATERAL (SELECT count(*) AS entries, coalesce(max(line), 0) AS last, coalesce(sum(quantity_mg), 0) AS total
                        FROM entry WHERE movement_id = n.id) e;
    IF wrong THEN
        PERFORM movement_explain(array_agg(n.id), min(n.posted_at), max(n.posted_at)) FROM new_movement n;
    END IF;
    IF NOT coalesce(reversed, false) THEN
        RETURN NULL;
    END IF;
    FOR m IN SELECT n.id, n.reverses FROM new_movement n WHERE n.reverses IS NOT NULL ORDER BY n.id LOOP
        PERFORM FROM movement o WHERE o.id = m.reverses AND o.kind = 'reversal';
        IF FOUND THEN
            PERFORM broken('movement_reverses_no_reversal', format('movement %s is itself a reversal and can''t be reversed: post what should have happened', m.reverses));
        END IF;
        PERFORM FROM (
            (SELECT account, location, party, lot, quantity_mg FROM entry WHERE movement_id = m.id
             EXCEPT ALL
             SELECT account, location, party, lot, -quantity_mg FROM entry WHERE movement_id = m.reverses)
            UNION ALL
            (SELECT account, location, party, lot, -quantity_mg FROM entry WHERE movement_id = m.reverses
             EXCEPT ALL
             SELECT account, location, party, lot, quantity_mg FROM entry WHERE movement_id = m.id)) AS unlike;
        IF FOUND THEN
            PERFORM broken('movement_mirrors', format('reversal %s does not mirror the entries of movement %s', m.id, m.reverses));
        END IF;
    END LOOP;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
-- movement_explain raises what movement_check found.
CREATE FUNCTION movement_explain(ids uuid[], earliest timestamptz, latest timestamptz) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    m record;
BEGIN
    SELECT n.id, n.kind, n.entry_count, n.use_count, n.reverses INTO m FROM movement n
    WHERE n.id = ANY (ids) AND (n.entry_count < 1 OR n.use_count < 0 OR (n.kind = 'reversal') <> (n.reverses IS NOT NULL)
          OR n.kind NOT IN ('receipt', 'issue', 'production', 'adjustment', 'transfer', 'return', 'scrap', 'reversal'))
    ORDER BY n.id LIMIT 1;
    IF m.entry_count < 1 THEN
        PERFORM broken('movement_entry_count_positive', format('movement %s has no entries', m.id));
    ELSIF m.use_count < 0 THEN
        PERFORM broken('movement_use_count_not_negative', format('movement %s has %s uses of reservations', m.id, m.use_count));
    ELSIF (m.kind = 'reversal') <> (m.reverses IS NOT NULL) THEN
        PERFORM broken('movement_reversal_names_one', format('movement %s: a reversal names the movement that it undoes, and nothing else does', m.id));
    ELSIF m.id IS NOT NULL THEN
        PERFORM broken('movement_kind_known', format('movement %s is of no known kind: %s', m.id, m.kind));
    END IF;
    SELECT n.id, n.entry_count, n.use_count, e.entries, e.total,
           (SELECT count(*) FROM reservation_use WHERE movement_id = n.id) AS uses INTO m
    FROM movement n
    CROSS JOIN LATERAL (SELECT count(*) AS entries, coalesce(max(line), 0) AS last, coalesce(sum(quantity_mg), 0) AS total
                        FROM entry WHERE movement_id = n.id) e
    WHERE n.id = ANY (ids) AND (e.entries <> n.entry_count OR e.last <> n.entry_count OR e.total <> 0
          OR n.use_count <> (SELECT count(*) FROM reservation_use WHERE movement_id = n.id))
    ORDER BY n.id LIMIT 1;
    IF NOT FOUND THEN
        PERFORM broken('movement_posted_now', format('a movement is dated other than now: %s to %s', earliest, latest));
    ELSIF m.entries = m.entry_count AND m.total <> 0 THEN
        PERFORM broken('movement_balanced', format('the entries of movement %s sum to %s mg instead of zero', m.id, m.total));
    END IF;
    PERFORM broken('movement_has_entries', format('movement %s has %s of %s entries and %s of %s uses of reservations, numbered from 1: insert them in the same statement',
        m.id, m.entries, m.entry_count, m.uses, m.use_count));
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
-- entry_post keeps the balances. Every posting takes its row locks in the same
-- order (balances by lot and location, then reservations by id), so that two of
-- them seldom wait for each other.
CREATE FUNCTION entry_post() RETURNS trigger LANGUAGE plpgsql
SET enable_seqscan = off SET enable_hashjoin = off SET enable_mergejoin = off AS $$
DECLARE
    wrong boolean;
    used  boolean;
    fresh boolean;
BEGIN
    SELECT bool_or(m.id IS NULL OR n.line > m.entry_count OR l.id IS NULL
               OR n.line < 1 OR n.quantity_mg = 0 OR n.quantity_mg NOT BETWEEN -1000000000000000 AND 1000000000000000
               OR n.account NOT IN ('stock', 'supplier', 'batch', 'scrap', 'count_difference', 'customer')
               OR (n.account = 'stock') <> (n.location <> '')
               OR n.party <> '' AND n.account NOT IN ('supplier', 'batch', 'customer')
               OR m.kind = 'issue' AND n.account = 'stock' AND n.quantity_mg < 0
                  AND (l.status <> 'released' OR l.expiry_date IS NOT NULL AND l.expiry_date <= current_date + 1 AND l.expiry_date < plant_today())),
           bool_or(m.use_count > 0),
           bool_or(n.account = 'stock' AND b.lot IS NULL)
    INTO wrong, used, fresh
    FROM new_entry n LEFT JOIN movement m ON m.id = n.movement_id LEFT JOIN lot l ON l.id = n.lot
    LEFT JOIN balance b ON b.lot = n.lot AND b.location = n.location AND n.account = 'stock';
    IF wrong THEN
        PERFORM entry_explain(array_agg(n.movement_id), array_agg(n.line)) FROM new_entry n;
    END IF;
    IF fresh THEN
        INSERT INTO balance (lot, location, on_hand_mg, reserved_mg)
        SELECT DISTINCT n.lot, n.location, 0, 0 FROM new_entry n
        WHERE n.account = 'stock' AND NOT EXISTS (SELECT FROM balance b WHERE b.lot = n.lot AND b.location = n.location)
        ORDER BY n.lot, n.location
        ON CONFLICT DO NOTHING;
    END IF;
    IF used THEN
        PERFORM reservation_apply_uses((SELECT array_agg(DISTINCT n.movement_id) FROM new_entry n),
            (SELECT array_agg(n.lot) FROM new_entry n WHERE n.account = 'stock'),
            (SELECT array_agg(n.location) FROM new_entry n WHERE n.account = 'stock'));
    END IF;
    -- The sorted change is the outer side of a nested loop: rows are locked in its order.
    UPDATE balance b SET on_hand_mg = b.on_hand_mg + d.change
    FROM (SELECT n.lot, n.location, sum(n.quantity_mg)::bigint AS change FROM new_entry n
          WHERE n.account = 'stock' GROUP BY n.lot, n.location ORDER BY n.lot, n.location) d
    WHERE b.lot = d.lot AND b.location = d.location AND d.change <> 0;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
-- entry_explain raises what entry_post found.
CREATE FUNCTION entry_explain(movements uuid[], lines integer[]) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    bad record;
BEGIN
    SELECT n.* INTO bad FROM unnest(movements, lines) AS a (movement_id, line) JOIN entry n USING (movement_id, line)
    WHERE n.line < 1 OR n.quantity_mg = 0 OR n.quantity_mg NOT BETWEEN -1000000000000000 AND 1000000000000000
       OR n.account NOT IN ('stock', 'supplier', 'batch', 'scrap', 'count_difference', 'customer')
       OR (n.account = 'stock') <> (n.location <> '')
       OR n.party <> '' AND n.account NOT IN ('supplier', 'batch', 'customer')
    ORDER BY n.movement_id, n.line LIMIT 1;
    IF bad.line < 1 THEN
        PERFORM broken('entry_line_positive', format('movement %s has an entry numbered %s', bad.movement_id, bad.line));
    ELSIF bad.quantity_mg = 0 OR bad.quantity_mg NOT BETWEEN -1000000000000000 AND 1000000000000000 THEN
        PERFORM broken('entry_quantity_in_bounds', format('an entry of movement %s is of %s mg', bad.movement_id, bad.quantity_mg));
    ELSIF (bad.account = 'stock') <> (bad.location <> '') THEN
        PERFORM broken('entry_location_of_stock', format('movement %s: a stock account names a location, and no other does', bad.movement_id));
    ELSIF bad.account NOT IN ('stock', 'supplier', 'batch', 'scrap', 'count_difference', 'customer') THEN
        PERFORM broken('entry_account_known', format('movement %s has an entry on no known account: %s', bad.movement_id, bad.account));
    ELSIF bad.movement_id IS NOT NULL THEN
        PERFORM broken('entry_party_of_account', format('movement %s: only supplier, batch and customer accounts name a party', bad.movement_id));
    END IF;
    SELECT n.movement_id, n.lot, m.id IS NULL OR n.line > m.entry_count AS stray, l.id IS NULL AS unknown_lot,
           l.status, l.expiry_date INTO bad
    FROM unnest(movements, lines) AS a (movement_id, line) JOIN entry n USING (movement_id, line)
    LEFT JOIN movement m ON m.id = n.movement_id LEFT JOIN lot l ON l.id = n.lot
    WHERE m.id IS NULL OR n.line > m.entry_count OR l.id IS NULL
       OR (m.kind = 'issue' AND n.account = 'stock' AND n.quantity_mg < 0
           AND (l.status <> 'released' OR l.expiry_date < plant_today()))
    ORDER BY n.movement_id, n.line LIMIT 1;
    IF bad.stray THEN
        PERFORM broken('entry_of_movement', format('an entry names movement %s, which is not posted by the same statement', bad.movement_id));
    ELSIF bad.unknown_lot THEN
        PERFORM broken('entry_lot_known', format('there is no lot %s', bad.lot));
    ELSIF bad.status <> 'released' THEN
        PERFORM broken('lot_released', format('lot %s is %s: only a released lot can be issued', bad.lot, bad.status));
    END IF;
    PERFORM broken('lot_not_expired', format('lot %s expired on %s and can''t be issued', bad.lot, bad.expiry_date));
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
-- reservation_apply_uses lowers the reservations that the movements use, after
-- locking every balance that they touch.
CREATE FUNCTION reservation_apply_uses(movements uuid[], lots text[], locations text[]) RETURNS void LANGUAGE plpgsql
SET enable_seqscan = off SET enable_hashjoin = off SET enable_mergejoin = off AS $$
DECLARE
    bad record;
BEGIN
    PERFORM FROM balance b
    WHERE (b.lot, b.location) IN (
        SELECT * FROM unnest(lots, locations)
        UNION SELECT r.lot, r.location FROM reservation_use u JOIN reservation r ON r.id = u.reservation
        WHERE u.movement_id = ANY (movements))
    ORDER BY b.lot, b.location FOR NO KEY UPDATE;
    PERFORM FROM reservation r
    WHERE r.id IN (SELECT u.reservation FROM reservation_use u WHERE u.movement_id = ANY (movements))
    ORDER BY r.id FOR NO KEY UPDATE;

    SELECT r.id, r.lot, r.location, r.remaining_mg, w.wanted INTO bad
    FROM (SELECT u.reservation, sum(u.quantity_mg) AS wanted FROM reservation_use u
          WHERE u.movement_id = ANY (movements) GROUP BY u.reservation) w
    JOIN reservation r ON r.id = w.reservation
    WHERE r.remaining_mg < w.wanted LIMIT 1;
    IF FOUND THEN
        PERFORM broken('reservation_use_within_remaining', format('reservation %s of lot %s has %s kg left and %s kg of it are to be used: use less of it, or reserve more first',
            bad.id, bad.lot, trim_scale(bad.remaining_mg / 1000000.0), trim_scale(bad.wanted / 1000000.0)));
    END IF;
    SELECT u.reservation, r.lot INTO bad
    FROM reservation_use u JOIN reservation r ON r.id = u.reservation
    WHERE u.movement_id = ANY (movements) AND NOT EXISTS (SELECT FROM entry e
        WHERE e.movement_id = u.movement_id AND e.account = 'stock' AND e.lot = r.lot AND e.location = r.location AND e.quantity_mg < 0)
    LIMIT 1;
    IF FOUND THEN
        PERFORM broken('reservation_use_of_same_lot', format('reservation %s is of lot %s, which the movement does not take from', bad.reservation, bad.lot));
    END IF;
    UPDATE reservation r SET remaining_mg = r.remaining_mg - w.wanted
    FROM (SELECT u.reservation, sum(u.quantity_mg)::bigint AS wanted FROM reservation_use u
          WHERE u.movement_id = ANY (movements) GROUP BY u.reservation) w
    WHERE r.id = w.reservation;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION reservation_use_check() RETURNS trigger LANGUAGE plpgsql
SET enable_seqscan = off SET enable_hashjoin = off SET enable_mergejoin = off AS $$
BEGIN
    PERFORM FROM new_use n LEFT JOIN movement m ON m.id = n.movement_id
    WHERE m.id IS NULL OR n.line NOT BETWEEN 1 AND m.use_count;
    IF FOUND THEN
        PERFORM broken('reservation_use_of_movement', 'a use of a reservation names a movement that is not posted by the same statement');
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
-- reservation_made adds new reservations to the balances.
CREATE FUNCTION reservation_made() RETURNS trigger LANGUAGE plpgsql
SET enable_seqscan = off SET enable_hashjoin = off SET enable_mergejoin = off AS $$
DECLARE
    bad record;
BEGIN
    SELECT n.id, n.lot, n.location, n.remaining_mg <> n.quantity_mg AS part INTO bad
    FROM new_reservation n LEFT JOIN balance b ON b.lot = n.lot AND b.location = n.location
    WHERE b.lot IS NULL OR n.remaining_mg <> n.quantity_mg LIMIT 1;
    IF FOUND THEN
        IF bad.part THEN
            PERFORM broken('reservation_starts_whole', format('reservation %s starts with less than its quantity', bad.id));
        END IF;
        PERFORM broken('reservation_of_stock', format('there is nothing of lot %s at %s to reserve', bad.lot, bad.location));
    END IF;
    PERFORM FROM balance b
    WHERE (b.lot, b.location) IN (SELECT n.lot, n.location FROM new_reservation n)
    ORDER BY b.lot, b.location FOR NO KEY UPDATE;
    UPDATE balance b SET reserved_mg = b.reserved_mg + d.change
    FROM (SELECT n.lot, n.location, sum(n.remaining_mg)::bigint AS change FROM new_reservation n GROUP BY n.lot, n.location) d
    WHERE b.lot = d.lot AND b.location = d.location;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
-- reservation_changed takes what was used or released off the balances. Nothing
-- else of a reservation may change.
CREATE FUNCTION reservation_changed() RETURNS trigger LANGUAGE plpgsql
SET enable_seqscan = off SET enable_hashjoin = off SET enable_mergejoin = off AS $$
BEGIN
    PERFORM FROM old_reservation o FULL JOIN new_reservation n ON n.id = o.id
    WHERE o.id IS NULL OR n.id IS NULL OR n.remaining_mg > o.remaining_mg
       OR (n.lot, n.location, n.quantity_mg, n.batch, n.note, n.actor, n.digest, n.created_at)
          IS DISTINCT FROM (o.lot, o.location, o.quantity_mg, o.batch, o.note, o.actor, o.digest, o.created_at);
    IF FOUND THEN
        PERFORM broken('reservation_only_falls', 'of a reservation only what is left may change, and only fall');
    END IF;
    PERFORM FROM balance b
    WHERE (b.lot, b.location) IN (SELECT n.lot, n.location FROM new_reservation n)
    ORDER BY b.lot, b.location FOR NO KEY UPDATE;
    UPDATE balance b SET reserved_mg = b.reserved_mg - d.change
    FROM (SELECT n.lot, n.location, sum(o.remaining_mg - n.remaining_mg)::bigint AS change
          FROM new_reservation n JOIN old_reservation o ON o.id = n.id GROUP BY n.lot, n.location) d
    WHERE b.lot = d.lot AND b.location = d.location AND d.change <> 0;
    RETURN NULL;
END $$;
-- +goose StatementEnd

CREATE TRIGGER movement_check AFTER INSERT ON movement
    REFERENCING NEW TABLE AS new_movement FOR EACH STATEMENT EXECUTE FUNCTION movement_check();
CREATE TRIGGER movement_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON movement
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('movement_append_only');
CREATE TRIGGER entry_post AFTER INSERT ON entry
    REFERENCING NEW TABLE AS new_entry FOR EACH STATEMENT EXECUTE FUNCTION entry_post();
CREATE TRIGGER entry_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON entry
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('entry_append_only');
CREATE TRIGGER reservation_use_check AFTER INSERT ON reservation_use
    REFERENCING NEW TABLE AS new_use FOR EACH STATEMENT EXECUTE FUNCTION reservation_use_check();
CREATE TRIGGER reservation_use_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON reservation_use
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('reservation_use_append_only');
CREATE TRIGGER reservation_made AFTER INSERT ON reservation
    REFERENCING NEW TABLE AS new_reservation FOR EACH STATEMENT EXECUTE FUNCTION reservation_made();
CREATE TRIGGER reservation_changed AFTER UPDATE ON reservation
    REFERENCING OLD TABLE AS old_reservation NEW TABLE AS new_reservation
    FOR EACH STATEMENT EXECUTE FUNCTION reservation_changed();
CREATE TRIGGER reservation_kept BEFORE DELETE OR TRUNCATE ON reservation
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('reservation_kept');
-- At depth 0 the statement comes from a client, below that from a trigger above.
CREATE TRIGGER balance_by_ledger_only BEFORE INSERT OR UPDATE OR DELETE ON balance
    FOR EACH STATEMENT WHEN (pg_trigger_depth() < 1) EXECUTE FUNCTION refuse('balance_by_ledger_only');
CREATE TRIGGER balance_not_truncated BEFORE TRUNCATE ON balance
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('balance_by_ledger_only');

-- Also for a client that replays a log (session_replication_role = replica).
ALTER TABLE movement ENABLE ALWAYS TRIGGER movement_check, ENABLE ALWAYS TRIGGER movement_append_only;
ALTER TABLE entry ENABLE ALWAYS TRIGGER entry_post, ENABLE ALWAYS TRIGGER entry_append_only;
ALTER TABLE reservation_use ENABLE ALWAYS TRIGGER reservation_use_check, ENABLE ALWAYS TRIGGER reservation_use_append_only;
ALTER TABLE reservation ENABLE ALWAYS TRIGGER reservation_made, ENABLE ALWAYS TRIGGER reservation_changed, ENABLE ALWAYS TRIGGER reservation_kept;
ALTER TABLE balance ENABLE ALWAYS TRIGGER balance_by_ledger_only, ENABLE ALWAYS TRIGGER balance_not_truncated;

-- +goose Down
DROP FUNCTION refuse, broken, plant_today, movement_check, movement_explain, entry_post, entry_explain, reservation_apply_uses,
    reservation_use_check, reservation_made, reservation_changed CASCADE; -- with their triggers
