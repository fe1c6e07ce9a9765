// Package migrations holds the schema of the plant's book as goose migrations,
// embedded; package postgres applies them.
//
// The migrations only add: they run on a database that holds data while the
// version of the server before is still at work. Masses are whole milligrams in
// bigint, money is numeric, nested parts that nothing is looked up by are jsonb,
// ids sort bytewise. Every constraint has a name; package postgres turns it into
// a sentence.
//
// # What Postgres itself makes impossible
//
// Whatever client connects:
//
//	balance_on_hand_not_negative      a lot at a location below zero
//	balance_reserved_within_on_hand   reserving more than is on hand
//	balance_by_ledger_only            a balance changed other than by a movement
//	movement_append_only              a movement edited, deleted, truncated
//	entry_append_only                 the same for its entries
//	movement_balanced                 entries that do not sum to zero
//	movement_has_entries              entries missing, or not numbered 1 to n
//	entry_of_movement                 an entry without its movement, or added later
//	movement_reversed_once            a second reversal of the same movement
//	movement_mirrors                  a reversal that is not the exact mirror
//	movement_posted_now               a movement dated back or ahead
//	lot_released, lot_not_expired     issuing a lot that may not be used
//	reservation_only_falls            a reservation changed but by use or release
//
// A movement, its entries and its use of reservations are inserted by ONE SQL
// statement (data-modifying WITH); its triggers then see all of it at once, check
// it set by set and maintain the balances.
package migrations
