package postgres

import (
	"context"
	"encoding/json"
	"time"

	"millbase/server/app"
)

var planTable = &table[app.StoredPlan]{
	name: "plan", noun: "plan", path: "plans",
	id:    func(p *app.StoredPlan) string { return p.ID },
	setID: func(p *app.StoredPlan, id string) { p.ID = id },
	columns: []column[app.StoredPlan]{
		plain("state", func(p *app.StoredPlan) *string { return &p.State }),
		date("made_date", func(p *app.StoredPlan) *time.Time { return &p.Made }),
		object("body", func(p *app.StoredPlan) *json.RawMessage { return &p.Body }),
		object("rests_on", func(p *app.StoredPlan) *json.RawMessage { return &p.Rests }),
		{"acceptance",
			func(p *app.StoredPlan) any {
				if len(p.Acceptance) == 0 {
					return nil
				}
				return jsonArg(p.Acceptance)
			},
			func(p *app.StoredPlan) any { return setRef[json.RawMessage]{&p.Acceptance} }},
	},
	filters: filters{"id": text("id"), "state": text("state"), "made_date": day("made_date")},
}

// plans implements app.PlanRepo.
type plans struct{ repo[app.StoredPlan] }

// planLock is the key under which acceptances wait for one another.
const planLock = 0x706c616e

// OneByOne takes a lock that the end of the transaction gives back.
func (p plans) OneByOne(ctx context.Context) error {
	_, err := p.d.Exec(ctx, "SELECT pg_advisory_xact_lock($1)", planLock)
	return translate(err)
}
