package postgres

import (
	"context"
	"errors"
	"io"
	"net"
	"syscall"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"millbase/server/app"
)

// rule says what the breach of a named constraint means to a caller.
type rule struct {
	kind   error  // sentinel of package app; nil: a bad field
	reason string // for a sentinel
	field  string // for a bad field
	// sentence for people; empty where the trigger that raised it wrote one.
	sentence string
}

// rules by the name of the constraint. The sentences of the balance rules are
// the fallback: explain names lot and quantities.
var rules = map[string]rule{
	"balance_on_hand_not_negative":     {app.ErrConflict, "NEGATIVE_BALANCE", "", "there is not that much on hand: take less, or receive or adjust the lot first"},
	"balance_reserved_within_on_hand":  {app.ErrConflict, "RESERVED", "", "there is not that much free: take less, or release a reservation first"},
	"balance_reserved_not_negative":    {app.ErrConflict, "RESERVED", "", "less is reserved than is to be released"},
	"balance_by_ledger_only":           {app.ErrConflict, "BALANCE_BY_LEDGER_ONLY", "", "a balance changes by movements only: post an adjustment"},
	"movement_append_only":             {app.ErrConflict, "APPEND_ONLY", "", "a movement can't be changed or deleted: post a reversal"},
	"entry_append_only":                {app.ErrConflict, "APPEND_ONLY", "", "an entry can't be changed or deleted: post a reversal"},
	"reservation_use_append_only":      {app.ErrConflict, "APPEND_ONLY", "", "the use of a reservation can't be changed or deleted"},
	"movement_reversed_once":           {app.ErrConflict, "REVERSED_ALREADY", "", "the movement has been reversed already"},
	"movement_mirrors":                 {app.ErrConflict, "REVERSAL_UNLIKE", "", ""},
	"movement_reverses_no_reversal":    {app.ErrConflict, "REVERSAL_OF_REVERSAL", "", ""},
	"lot_released":                     {app.ErrConflict, "LOT_NOT_RELEASED", "", ""},
	"lot_not_expired":                  {app.ErrConflict, "LOT_EXPIRED", "", ""},
	"reservation_use_within_remaining": {app.ErrConflict, "RESERVATION_TOO_SMALL", "", ""},
	"reservation_use_of_same_lot":      {app.ErrConflict, "RESERVATION_OF_OTHER_LOT", "", ""},
	"reservation_of_stock":             {app.ErrConflict, "NEGATIVE_BALANCE", "", ""},
	"reservation_only_falls":           {app.ErrConflict, "RESERVATION_ONLY_FALLS", "", ""},
	"reservation_kept":                 {app.ErrConflict, "RESERVATION_KEPT", "", "a reservation can't be deleted: release it"},
	"formula_revision_fixed":           {app.ErrConflict, "REVISION_FIXED", "", ""},
	"characterisation_current":         {app.ErrConflict, "CHARACTERISED_MEANWHILE", "", "the ink was characterised on the substrate at the same moment: look at that one, and send yours again"},
	"lot_test_fixed":                   {app.ErrConflict, "APPEND_ONLY", "", "a test can't be deleted: withdraw it"},
	"quote_revision_fixed":             {app.ErrConflict, "REVISION_FIXED", "", ""},
	"quote_revision_next":              {app.ErrConflict, "REVISION_FIXED", "", ""},
	"quote_accepted_fixed":             {app.ErrConflict, "QUOTE_ACCEPTED", "", ""},
	"offer_price_fixed":                {app.ErrConflict, "APPEND_ONLY", "", "what an offer cost once can't be changed"},
	"offer_price_pkey":                 {app.ErrConflict, "APPEND_ONLY", "", "what the offer cost is kept already"},
	"operation_ended":                  {app.ErrConflict, "OPERATION_ENDED", "", ""},
	"operation_not_ended":              {app.ErrNotReady, "OPERATION_NOT_ENDED", "", ""},
	"operation_ended_whole":            {app.ErrConflict, "OPERATION_ENDED", "", "an operation ends once, with a result or a failure"},
	"operation_leased":                 {app.ErrConflict, "OPERATION_LEASE", "", "an operation that runs has a lease, and no other has"},
	"operation_state_known":            {nil, "", "state", "unknown: use queued, running, succeeded, failed or cancelled"},
	"operation_fraction_share":         {nil, "", "progress_fraction", "must be from 0 to 1"},
	"quote_kept":                       {app.ErrConflict, "APPEND_ONLY", "", "a quote can't be deleted: let it lapse"},
	"plan_fixed":                       {app.ErrConflict, "PLAN_FIXED", "", ""},
	"plan_accepted_fixed":              {app.ErrConflict, "PLAN_ACCEPTED", "", ""},
	"plan_kept":                        {app.ErrConflict, "APPEND_ONLY", "", "a plan can't be deleted: make the next one"},

	"movement_balanced":                 {nil, "", "entries", ""},
	"movement_has_entries":              {nil, "", "entries", ""},
	"movement_posted_now":               {nil, "", "posted_at", ""},
	"movement_entry_count_positive":     {nil, "", "entries", "a movement needs entries"},
	"movement_kind_known":               {nil, "", "kind", "unknown: use receipt, issue, production, adjustment, transfer, return, scrap or reversal"},
	"movement_reversal_names_one":       {nil, "", "reverses", "a reversal names the movement that it undoes, and nothing else does"},
	"movement_reverses_fkey":            {nil, "", "reverses", "there is no such movement"},
	"entry_of_movement":                 {nil, "", "entries", ""},
	"entry_pkey":                        {nil, "", "entries", "the movement has its entries already"},
	"entry_lot_known":                   {nil, "", "entries.lot", ""},
	"balance_lot_fkey":                  {nil, "", "entries.lot", "there is no such lot"},
	"entry_account_known":               {nil, "", "entries.account", "unknown kind of account"},
	"entry_quantity_in_bounds":          {nil, "", "entries.quantity", "use a quantity other than zero of at most 1,000,000 t"},
	"entry_location_of_stock":           {nil, "", "entries.location", "a stock account names a location, and no other does"},
	"entry_party_of_account":            {nil, "", "entries.party", "only supplier, batch and customer accounts name a party"},
	"reservation_quantity_positive":     {nil, "", "quantity", "reserve more than zero and at most 1,000,000 t"},
	"reservation_starts_whole":          {nil, "", "remaining", ""},
	"reservation_use_reservation_fkey":  {nil, "", "uses.reservation", "there is no such reservation"},
	"reservation_use_quantity_positive": {nil, "", "uses.quantity", "use more than zero"},
	"reservation_use_of_movement":       {nil, "", "uses", ""},

	"plan_state_known":                   {nil, "", "state", "unknown: use proposed or accepted"},
	"plan_accepted_whole":                {nil, "", "acceptance", "an accepted plan says what accepting it did, and no other does"},
	"material_class_known":               {nil, "", "class", "unknown: use one of the material classes"},
	"material_shelf_life_not_negative":   {nil, "", "shelf_life_days", "use 0 or more days"},
	"material_safety_stock_not_negative": {nil, "", "safety_stock", "use 0 kg or more"},
	"material_lot_rule_known":            {nil, "", "lot_rule", "unknown: use lot_for_lot, fixed_lot or period_lots"},
	"material_fixed_lot_not_negative":    {nil, "", "fixed_lot", "use 0 kg or more"},
	"material_lot_period_not_negative":   {nil, "", "lot_period_days", "use 0 or more days"},
	"material_lead_time_not_negative":    {nil, "", "lead_time_days", "use 0 or more days"},
	"material_safety_time_not_negative":  {nil, "", "safety_time_days", "use 0 or more days"},
	"material_fence_not_negative":        {nil, "", "fence_days", "use 0 or more days"},
	"plant_over_delivery_not_negative":   {nil, "", "over_delivery_percent", "use 0 or more percent"},
	"plant_under_delivery_in_bounds":     {nil, "", "under_delivery_percent", "use from 0 to 100 percent"},
	"offer_price_offer_fkey":             {nil, "", "offer", "there is no such offer"},
	"price_outlook_offer_fkey":           {nil, "", "offer", "there is no such offer"},
	"supplier_lead_time_not_negative":    {nil, "", "lead_time_days", "use 0 or more days"},
	"offer_lead_time_not_negative":       {nil, "", "lead_time_days", "use 0 or more days"},
	"offer_pack_size_not_negative":       {nil, "", "pack_size", "use 0 kg (any quantity) or more"},
	"offer_minimum_order_not_negative":   {nil, "", "minimum_order", "use 0 kg or more"},
	"lot_status_known":                   {nil, "", "status", "unknown: use quarantined, released, held or rejected"},
	"batch_state_known":                  {nil, "", "state", "unknown: use planned, reserved, finished or cancelled"},
	"batch_quantity_positive":            {nil, "", "quantity", "use more than 0 kg"},
	"batch_finished_not_negative":        {nil, "", "finished_mass", "use 0 kg or more"},
	"batch_formula_fkey":                 {nil, "", "formula", "there is no such formula revision"},
	"batch_finished_lot_fkey":            {nil, "", "finished_lot", "there is no such lot: create it first"},
	"purchase_order_state_known":         {nil, "", "state", "unknown: use draft, sent, part_received, received or cancelled"},
	"plant_scale_division_not_negative":  {nil, "", "scale_division", "use 0 kg or more"},
	"plant_release_days_not_negative":    {nil, "", "quality_release_days", "use 0 or more days"},
	"quote_state_known":                  {nil, "", "state", "unknown: use draft, sent or accepted"},
	"quote_revision_positive":            {nil, "", "revision", "revisions count from 1"},
	"quote_sent_revision_there":          {nil, "", "sent_revision", "there is no such revision"},
	"quote_sent_is_newest":               {nil, "", "state", "only what was sent is sent: name the newest revision as sent"},
	"quote_accepted_whole":               {nil, "", "state", "an accepted quote was sent, and has its day, quantity and batch; no other has"},
	"quote_accepted_batch_fkey":          {nil, "", "batch", "there is no such batch: plan it first"},
	"quote_version_quote_fkey":           {nil, "", "quote", "there is no such quote"},
	"quote_inputs_quote_fkey":            {nil, "", "quote", "there is no such quote"},
	"quote_inputs_pkey":                  {app.ErrConflict, "REVISION_FIXED", "", "what the revision was worked out from is kept already"},
	"api_key_digest_key":                 {app.ErrExists, "ALREADY_EXISTS", "", "this key exists already"},
}

// clash is a transaction that lost against another one (deadlock, serialization
// failure): running it again may succeed.
type clash struct{ fault *app.Fault }

func (c *clash) Error() string { return c.fault.Message }
func (c *clash) Unwrap() error { return c.fault }

// translate turns a driver error into an app error. Errors of package app,
// nil, and those that it does not know pass through.
func translate(err error) error {
	if err == nil {
		return nil
	}
	var fault *app.Fault
	var invalid app.Invalid
	if errors.As(err, &fault) || errors.As(err, &invalid) {
		return err
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return translateCode(pg, err)
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	if lostConnection(err) {
		return &outage{app.Faultf(app.ErrBusy, "DATABASE_AWAY", "", "the database does not answer: try again in a moment"), err}
	}
	return err
}

func translateCode(pg *pgconn.PgError, err error) error {
	if r, ok := rules[pg.ConstraintName]; ok {
		sentence := r.sentence
		if sentence == "" {
			sentence = pg.Message
		}
		if r.kind == nil {
			return app.InvalidField(r.field, "%s", sentence)
		}
		return app.Faultf(r.kind, r.reason, "", "%s", sentence)
	}
	switch pg.Code {
	case "40001", "40P01": // serialization failure, deadlock
		return &clash{app.Faultf(app.ErrBusy, "TRY_AGAIN", "", "others changed the same things at the same moment: try again")}
	case "22021", "22P05": // a zero byte or broken UTF-8; \u0000 in jsonb
		return app.InvalidField("", "a text holds a zero character or is not valid UTF-8: remove it")
	case "22003": // numeric value out of range
		return app.InvalidField("", "a number is too large to be kept")
	case "57P01", "57P02", "57P03", "53300", "25006": // shutting down, starting, full, a standby
		return &outage{app.Faultf(app.ErrBusy, "DATABASE_AWAY", "", "the database is restarting: try again in a moment"), err}
	}
	return err
}

// outage is a lost or refused connection.
type outage struct {
	fault *app.Fault
	cause error
}

func (o *outage) Error() string   { return o.fault.Message }
func (o *outage) Unwrap() []error { return []error{o.fault, o.cause} }

// lostConnection reports whether the error is of the connection rather than of
// the statement.
func lostConnection(err error) bool {
	var connect *pgconn.ConnectError
	if errors.As(err, &connect) {
		return true
	}
	var network interface{ Timeout() bool } // net.Error
	return errors.As(err, &network) || pgconn.SafeToRetry(err) ||
		errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		errors.Is(err, syscall.EPIPE) || errors.Is(err, syscall.ECONNRESET)
}

// constraintOf is the name of the constraint that the error is about.
func constraintOf(err error) string {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return pg.ConstraintName
	}
	return ""
}
