package postgres

import (
	"strings"
	"time"

	"millbase/inventory/property"
	"millbase/server/app"
)

// lotTestTable: the id in the table is "lot/test".
var lotTestTable = &table[app.LotTest]{
	name: "lot_test", noun: "test", path: "tests",
	id:    func(t *app.LotTest) string { return app.LotTestID(t.Lot, t.ID) },
	setID: func(t *app.LotTest, id string) { t.Lot, t.ID, _ = strings.Cut(id, "/") },
	columns: []column[app.LotTest]{
		plain("lot", func(t *app.LotTest) *string { return &t.Lot }),
		plain("test", func(t *app.LotTest) *string { return &t.ID }),
		object("values", func(t *app.LotTest) *property.Set { return &t.Values }),
		plain("method", func(t *app.LotTest) *string { return &t.Method }),
		plain("note", func(t *app.LotTest) *string { return &t.Note }),
		date("test_date", func(t *app.LotTest) *time.Time { return &t.Date }),
		plain("tester", func(t *app.LotTest) *string { return &t.Tester }),
		object("bleach", func(t *app.LotTest) **app.BleachResult { return &t.Bleach }),
		plain("withdrawn", func(t *app.LotTest) *bool { return &t.Withdrawn }),
		plain("reason", func(t *app.LotTest) *string { return &t.Reason }),
	},
	filters: filters{"id": text("id"), "lot": text("lot"), "withdrawn": yesNo("withdrawn")},
	refs: map[string]ref[app.LotTest]{
		"lot_test_lot_fkey": {"lot", "lot", func(t *app.LotTest) string { return t.Lot }},
	},
}
