package postgres

import (
	"encoding/json"
	"time"

	"millbase/server/app"
)

var quoteTable = &table[app.StoredQuote]{
	name: "quote", noun: "quote", path: "quotes",
	id:    func(q *app.StoredQuote) string { return q.ID },
	setID: func(q *app.StoredQuote, id string) { q.ID = id },
	columns: []column[app.StoredQuote]{
		plain("customer", func(q *app.StoredQuote) *string { return &q.Customer }),
		plain("formula", func(q *app.StoredQuote) *string { return &q.Formula }),
		plain("state", func(q *app.StoredQuote) *string { return &q.State }),
		date("valid_until", func(q *app.StoredQuote) *time.Time { return &q.ValidUntil }),
		object("body", func(q *app.StoredQuote) *json.RawMessage { return &q.Body }),
	},
	filters: filters{
		"id": text("id"), "customer": text("customer"), "formula": text("formula"), "state": text("state"),
		"valid_until": day("valid_until"),
	},
}

var keyTable = &table[app.APIKey]{
	name: "api_key", noun: "key", path: "keys",
	id:    func(k *app.APIKey) string { return k.ID },
	setID: func(k *app.APIKey, id string) { k.ID = id },
	columns: []column[app.APIKey]{
		plain("title", func(k *app.APIKey) *string { return &k.Title }),
		plain("role", func(k *app.APIKey) *string { return &k.Role }),
		plain("digest", func(k *app.APIKey) *[]byte { return &k.Digest }),
		plain("revoked", func(k *app.APIKey) *bool { return &k.Revoked }),
	},
	filters: filters{
		"id": text("id"), "role": text("role"), "digest": hexadecimal("digest"), "revoked": yesNo("revoked"),
	},
}
